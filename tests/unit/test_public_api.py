"""The names that a notebook imports, and the tables that it gets."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

import telemetry
from sample_logs import data_folder
from telemetry import Analysis, Request, read_and_analyse


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    folder = data_folder()
    return read_and_analyse([folder / "four_passes.gpx", folder / "four_passes_motor.csv"], Request())


def test_the_public_names_are_exactly_all() -> None:
    assert set(telemetry.__all__) == {*telemetry._HOME, "__version__"}
    assert telemetry.__all__ == sorted(telemetry.__all__)
    for name in telemetry.__all__:
        assert getattr(telemetry, name) is not None
    with pytest.raises(AttributeError, match="nonsense"):
        telemetry.nonsense  # noqa: B018


def test_importing_the_library_loads_neither_numpy_nor_pandas() -> None:
    heavy = {"numpy", "pandas", "scipy", "dash", "plotly"}
    program = f"import sys, telemetry; print(sorted({heavy} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_passes_as_a_table(analysis: Analysis) -> None:
    table = analysis.passes_frame()
    assert list(table.index) == [p.id for p in analysis.passes]
    assert list(table["peak_mps"]) == [p.peak_mps for p in analysis.passes]
    assert {"average_100m_mps", "average_101m_mps", "porpoising", "heading_deg"} <= set(table.columns)
    assert (table["held_1s_mps"] <= table["peak_mps"]).all()


def test_two_ways_as_a_table(analysis: Analysis) -> None:
    table = analysis.two_ways_frame()
    assert list(table["average_mps"]) == [w.average_mps for w in analysis.two_ways]
    assert table["verdict"].iloc[0] == analysis.two_ways[0].verdict


def test_samples_as_a_table(analysis: Analysis) -> None:
    table = analysis.samples_frame()
    track = analysis.speed_logs[0].cleaned.track
    assert len(table) == track.t_s.size
    assert isinstance(table["utc"].dtype, pd.DatetimeTZDtype)
    for p in analysis.passes:
        inside = table[table["pass_id"] == p.id]
        assert inside["t_s"].iloc[0] >= p.start_s
        assert inside["t_s"].iloc[-1] <= p.end_s
        assert inside["smoothed_mps"].max() == pytest.approx(p.peak_mps, abs=1.0)


def test_a_notebook_shows_tables(analysis: Analysis) -> None:
    html = analysis._repr_html_()
    assert html.count("<table") == 2
    assert analysis.passes[0].id in html


def test_an_analysis_of_nothing_gives_empty_tables(tmp_path: Path) -> None:
    nothing = read_and_analyse([tmp_path / "absent.gpx"])
    assert nothing.errors
    for table in (nothing.passes_frame(), nothing.two_ways_frame(), nothing.samples_frame()):
        assert table.empty
    assert "<table" in nothing._repr_html_()
