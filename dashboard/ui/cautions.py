"""Before the next pass: how to keep people, boats and packs safe."""

from __future__ import annotations

from typing import Final

from dash import html

ESTIMATE: Final = "An estimate. Only officials of a sanctioning body decide a record."
CAUTIONS: Final = (
    "No people, pets or full-size craft on the water; spectators well back; always a spotter.",
    "Try the fail-safe before every outing. The prop is live while a pack is connected.",
    "Never enter the water alone to fetch a boat.",
    "Charge packs balanced, attended and on a non-flammable place; never swollen, punctured, wet or just "
    "crashed ones. Let hot motors and controllers cool.",
    "Permission and speed limits differ from water to water: your club and the local law come first.",
)


def cautions() -> html.Footer:
    """List the cautions, short (common practice)."""
    return html.Footer(
        [
            html.H2("Before the next pass"),
            html.Ul([html.Li(text) for text in CAUTIONS]),
            html.P(ESTIMATE),
        ],
        className="cautions",
    )
