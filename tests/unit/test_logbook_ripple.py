"""What the logbook keeps of a pass's ripple."""

from __future__ import annotations

from sample_logs import data_folder
from telemetry.analysis import read_and_analyse
from telemetry.logbook.summary import summary_rows


def test_a_clean_pass_has_a_ripple_of_nothing_and_a_rippling_one_its_swing() -> None:
    analysis = read_and_analyse([data_folder() / f"porpoising{end}.csv" for end in ("", "_motor")])
    document = analysis.to_dict()
    kept = [row["ripple_mps"] for row in summary_rows(document).passes]
    at_speed = [e for e in document["ride"] if e["kind"] == "porpoising" and e["phase"] == "at speed"]
    assert [e["verdict"] for e in at_speed] == ["not seen", "shown", "not seen", "not seen"]
    assert kept == [0.0, at_speed[1]["speed_amplitude_mps"], 0.0, 0.0]
    for event in at_speed:
        event["verdict"] = "cannot tell"
        event["speed_amplitude_mps"] = None
    assert [row["ripple_mps"] for row in summary_rows(document).passes] == [None] * 4
