"""The notice above a page whose address refers to something that does not exist."""

from __future__ import annotations

from collections.abc import Collection

from dash import set_props


def say_unknown_boat(asked: str | None, boats: Collection[str]) -> None:
    """Show that the logbook does not have the boat of the address; from inside a callback."""
    if asked and asked not in boats:
        set_props("notice", {"children": f"There is no boat {asked[:80]} in this logbook."})
