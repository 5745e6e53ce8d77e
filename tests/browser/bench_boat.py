"""A boat for the bench in the browser, invented, and how a person fills in a field."""

from playwright.sync_api import Page

from telemetry.setup import Reading, SetupSheet

NUMBERS = {
    "hull_mass_kg": 1.2,
    "hull_place_mm": 330.0,
    "pack_mass_kg": 1.1,
    "pack_place_mm": 180.0,
    "motor_mass_kg": 0.45,
    "motor_place_mm": 330.0,
    "controller_mass_kg": 0.25,
    "controller_place_mm": 260.0,
    "strut_depth_mm": 3.0,
    "strut_angle_deg": 1.8,
    "tab_gap_left_inner_mm": 3.0,
}


def sheet() -> SetupSheet:
    return SetupSheet(boat="Kestrel", name="calm", readings={n: Reading(v) for n, v in NUMBERS.items()})


def fill(page: Page, label: str, text: str) -> None:
    """Type into a field and leave it."""
    field = page.get_by_label(label, exact=True)
    field.fill(text)
    field.blur()
