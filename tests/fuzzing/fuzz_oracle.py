"""What must hold of any bytes that are given to a reader, beyond that it does not fall over."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from functools import cache
from typing import Final

import numpy as np
import pandas as pd
from fuzz_watch import watched

from telemetry.analysis import analyse
from telemetry.cleaning.clean import clean
from telemetry.core.errors import LogError, ReciprocalError
from telemetry.core.frames import MOTOR_COLUMNS, TRACK_COLUMNS, Finding, Log, MotorLog, Track
from telemetry.readers import read_bytes
from telemetry.text.run import analysis_text

FILE: Final = "any.log"
_LONGEST_MESSAGE: Final = 2000
_FASTEST_MPS: Final = 250.0  # far above the range of a logged speed
_CODE: Final = re.compile(r"[a-z]+(?:-[a-z]+)+|break|dropout|duplicate|salvaged")

Read = Callable[[], tuple[Log, ...]]


def examine(read: Read, size: int, *, slack: float = 1.0, thorough: bool = True) -> tuple[Log, ...]:
    """Read an input and hold everything about it to what is promised.

    Parameters
    ----------
    read : callable
        Reads the input once.
    size : int
        Of the input [byte], which its cost is measured by.
    slack : float
        How many times the allowed time may be taken: instrumented code is slow.
    thorough : bool
        Whether it is also read a second time, cleaned, analysed and told.

    Returns
    -------
    tuple of Log
        Empty where it is refused.

    Raises
    ------
    AssertionError
        Or whatever escapes the reader: each is a defect.
    """
    _warm_up()
    try:
        with watched("reading", slack * (1.0 + 4e-6 * size), 80 + 6e-5 * size):
            logs = read()
    except LogError as error:
        hold_error(error)
        return ()
    assert logs, "neither logs nor an error"
    for log in logs:
        hold_log(log)
    if not thorough:
        return logs
    for one, other in zip(logs, read(), strict=True):
        assert one.meta == other.meta, "read twice, two origins"
        assert one.findings == other.findings, "read twice, two sets of findings"
        pd.testing.assert_frame_equal(one.frame, other.frame, check_exact=True)
    samples = sum(len(log.frame) for log in logs)
    with watched("analysing", slack * (2.0 + 1e-3 * samples), 150 + 0.02 * samples):
        told = analysed(logs)
    if not any("nan" in finding.message.lower() for log in logs for finding in log.findings):
        assert "nan" not in told.lower().split(), "a figure told is no number"
    return logs


@cache
def _warm_up() -> None:
    """Load what is loaded on first use, which is no part of an input's cost."""
    rows = "".join(f"2025-06-14T08:30:{i:02d},46.{400 + 2 * i},8.0,{20 + i % 2},a\n" for i in range(60))
    analysed(read_bytes(f"time,lat,lon,speed (m/s),hdop\n{rows}".encode(), FILE))


def analysed(logs: tuple[Log, ...]) -> str:
    """Clean, analyse and tell logs, as the command line does after reading them."""
    for log in logs:
        if isinstance(log, Track):
            t_s = clean(log).track.t_s
            assert (np.diff(t_s) > 0).all(), "time does not increase after cleaning"
    analysis = analyse(logs)
    for one in analysis.passes:
        figures = [one.peak_mps, one.held_1s_mps, *(d.speed_mps for d in one.distances)]
        assert all(not figure > _FASTEST_MPS for figure in figures), f"a pass of {figures} m/s"
    json.dumps(analysis.to_dict(), allow_nan=False)
    return analysis_text(analysis, "mph")


def hold_error(error: ReciprocalError) -> None:
    """An error is one sentence of bearable length that names the file and a fix."""
    text = str(error)
    assert error.reason, "an error without a reason"
    assert error.hint, f"an error without a fix: {text}"
    assert error.file.startswith(FILE), f"an error that names no file: {text}"
    assert "Traceback" not in text, text
    hold_text(text)


def hold_text(text: str) -> None:
    """What is told can be printed and read."""
    assert len(text) <= _LONGEST_MESSAGE, f"a message of {len(text)} characters: {text[:200]!r}"
    assert text.isprintable(), f"a message that cannot be printed: {text!r}"


def hold_log(log: Log) -> None:
    """A log is what :mod:`telemetry.core.frames` says that it is."""
    known = TRACK_COLUMNS if isinstance(log, Track) else MOTOR_COLUMNS
    frame = log.frame
    assert frame.index.name == "t_s"
    assert frame.index.dtype == np.float64
    assert len(frame) > 0
    assert np.isfinite(log.t_s).all(), "a time that is no number"
    assert log.t_s[0] == 0.0, "the first sample is not at zero"
    assert np.isfinite(log.rate_hz)
    assert list(frame.columns) == [name for name in known if name in frame], "columns out of order"
    for name in frame.columns:
        values = frame[name].to_numpy()
        assert values.dtype == np.float64
        assert not np.isinf(values).any(), f"{name} is infinite"
        finite = values[np.isfinite(values)]
        assert finite.size, f"{name} is empty"
        assert known[name].low <= finite.min() <= finite.max() <= known[name].high, f"{name} out of range"
    meta = log.meta
    assert meta.file.startswith(FILE)
    assert meta.start_utc is None or str(meta.start_utc.tz) == "UTC"
    assert meta.speed_source == (
        None if isinstance(log, MotorLog) else "measured" if "speed_mps" in frame else "differenced"
    )
    assert all(utc is None or isinstance(utc, pd.Timestamp) for utc in log.span_utc)
    for finding in log.findings:
        hold_finding(finding, log)


def hold_finding(finding: Finding, log: Log) -> None:
    """A finding has a code, a sentence, a count, and a place in the log's time or none."""
    assert _CODE.fullmatch(finding.code), finding
    assert type(finding.count) is int, finding
    assert finding.count >= 1, finding
    hold_text(finding.message)
    assert (finding.start_s is None) == (finding.end_s is None), finding
    if finding.start_s is not None and finding.end_s is not None:
        assert log.t_s.min() <= finding.start_s <= finding.end_s <= log.t_s.max(), finding
