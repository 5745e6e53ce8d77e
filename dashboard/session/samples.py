"""The sample logs, as if the user had dropped them."""

from __future__ import annotations

import json
from functools import cache

from dashboard.session.uploads import Upload, read_upload
from sample_logs import data_folder
from telemetry.readers import ReadOptions


@cache
def sample_uploads() -> tuple[Upload, ...]:
    """Read the outing with four clean passes: its speed log and its motor log."""
    folder = data_folder()
    truth = json.loads((folder / "four_passes_truth.json").read_text(encoding="utf-8"))
    boat = ReadOptions(pole_pairs=truth["boat"]["pole_pairs"])
    return tuple(
        read_upload(name, (folder / name).read_bytes(), boat)
        for name in (truth["speed_logs"][0], truth["motor_log"])
    )
