"""What a page says above itself when its address asks for what is not there."""

from __future__ import annotations

from collections.abc import Collection

from dash import set_props


def say_unknown_boat(asked: str | None, boats: Collection[str]) -> None:
    """State that an address asks for a boat that the logbook does not know; from inside a callback."""
    if asked and asked not in boats:
        set_props("notice", {"children": f"There is no boat {asked[:80]} in this logbook."})
