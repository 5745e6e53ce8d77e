"""A boat for the tests of sheet and bench, invented."""

from telemetry.setup import FoundMeasure, Reading, SetupSheet

NUMBERS = {
    "pack_place_mm": 180.0,
    "cog_mm": 269.0,
    "strut_depth_mm": 3.0,
    "strut_angle_deg": 1.8,
    "tab_gap_left_inner_mm": 3.0,
    "tab_gap_left_outer_mm": 4.0,
    "rudder_toe_deg": 0.0,
    "prop_diameter_mm": 45.0,
    "cells": 6.0,
}


def sheet(**changed: float | str | bool | Reading) -> SetupSheet:
    """The boat as set."""
    return SetupSheet(
        boat="Kestrel", name="calm", readings=readings(NUMBERS | {"prop_name": "X45"} | changed)
    )


def found(**measured: float | str | bool | Reading) -> FoundMeasure:
    """The boat as found; only what is given was measured."""
    return FoundMeasure(boat="Kestrel", readings=readings(measured))


def readings(values: dict[str, object]) -> dict[str, Reading]:
    return {name: v if isinstance(v, Reading) else Reading(v) for name, v in values.items()}  # type: ignore[arg-type]
