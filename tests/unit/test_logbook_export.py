"""An export says everything in forms that other programs read."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pandas as pd
import pytest
from logbooks import BOAT, SHEET, add

from telemetry.core.errors import LogbookError
from telemetry.logbook import Logbook


def test_an_export_is_csv_tables_and_one_json_document(fleet: Logbook, tmp_path: Path) -> None:
    outings = [add(fleet, hour).outing for hour in range(2)]
    folder = tmp_path / "export"
    files = fleet.export(folder)
    assert {file.name for file in files} >= {"boats.csv", "outings.csv", "readings.csv", "logbook.json"}

    table = pd.read_csv(folder / "outings.csv")
    assert table["boat"].tolist() == [BOAT, BOAT]
    assert table["best_two_way_mps"].tolist() == [o.best_two_way_mps for o in outings]
    assert pd.to_datetime(table["start_utc"]).tolist() == [o.start_utc for o in outings]
    passes = pd.read_csv(folder / "passes.csv")
    assert len(passes) == sum(o.passes for o in outings)
    with (folder / "readings.csv").open(encoding="utf-8", newline="") as stream:
        readings = {(row["sheet"], row["item"]): row["value"] for row in csv.DictReader(stream)}
    assert float(readings[SHEET.name, "prop_pitch_mm"]) == 63.0

    document = json.loads((folder / "logbook.json").read_text(encoding="utf-8"))
    assert document["schema"] == "reciprocal-export/1"
    assert [o["analysis"] for o in document["outings"]] == [fleet.analysis(o.id) for o in outings]
    assert {log["sha256"] for log in document["outing_logs"]} == {o.logs[0].sha256 for o in outings}
    with pytest.raises(LogbookError, match="there already"):
        fleet.export(folder)


def test_an_empty_logbook_exports_too_and_a_failed_export_leaves_nothing(
    logbook: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    logbook.export(tmp_path / "a")
    document = json.loads((tmp_path / "a" / "logbook.json").read_text(encoding="utf-8"))
    assert document["boats"] == document["outings"] == []
    before = sorted(path.name for path in tmp_path.iterdir())

    def full_disk(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("telemetry.logbook.export._write_json", full_disk)
    with pytest.raises(LogbookError, match="cannot be written: No space left"):
        logbook.export(tmp_path / "b")
    assert sorted(path.name for path in tmp_path.iterdir()) == before
