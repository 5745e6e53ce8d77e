import analysis_fixture as made
import pytest

from dashboard.session.findings import finding_lines
from dashboard.ui.badges import heading_text, sentence, speed_value
from telemetry.core.frames import Finding
from telemetry.core.units import SPEED_UNITS, speed_text


def words(component: object) -> str:
    if isinstance(component, str):
        return component
    if isinstance(component, list):
        return "".join(map(words, component))
    return words(getattr(component, "children", None) or "")


@pytest.mark.parametrize("unit", SPEED_UNITS)
@pytest.mark.parametrize("u95_mps", [None, 0.044])
def test_a_speed_is_written_as_on_the_command_line(unit: str, u95_mps: float | None) -> None:
    assert words(speed_value(44.704, unit, u95_mps)) == speed_text(44.704, unit, u95_mps)


def test_few_findings_are_told_singly_and_many_of_a_kind_together() -> None:
    assert finding_lines([made.SPIKE]) == [
        "A speed no hull could have, set aside (2 samples, 25.0 to 25.1 s)."
    ]
    gaps = [Finding("dropout", f"{k} samples are missing", 1, 10.0 * k, 10.0 * k) for k in range(1, 6)]
    assert finding_lines([made.SPIKE, *gaps])[1] == (
        "Dropout in 5 places. The first: 1 samples are missing (5 samples, 10.0 to 50.0 s)."
    )
    assert finding_lines([Finding("no-date", "the day is not stated")]) == ["The day is not stated."]
    assert finding_lines([]) == []


def test_sentences_and_headings() -> None:
    assert sentence("time window: met") == "Time window: met."
    assert sentence("Really?") == "Really?"
    assert (heading_text(72.6), heading_text(float("nan"))) == ("73°", "not in the log")
