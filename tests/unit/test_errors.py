from __future__ import annotations

import pickle

import pytest

from telemetry.core.errors import ColumnMapNeededError, LogError, ReciprocalError, fault_text


@pytest.mark.parametrize(
    "error",
    [
        LogError("it is empty", file="lake.gpx", place="line 3", hint="export it again"),
        ColumnMapNeededError("no column is named", headings=("U", "V"), file="lake.csv"),
    ],
)
def test_an_error_says_the_same_in_another_process(error: ReciprocalError) -> None:
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is type(error)
    assert (str(again), vars(again)) == (str(error), vars(error))


def test_a_fault_is_told_without_what_steers_a_terminal() -> None:
    try:
        raise ValueError("a\x1b[2Jb\udcff\nc" + "x" * 5000)
    except ValueError as error:
        told = fault_text(error)
    assert "ValueError: a\ufffd[2Jb\ufffd c" in told
    assert told.isprintable()
    assert len(told) < 2300
    assert told.encode("utf-8")
