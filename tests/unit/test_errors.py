from __future__ import annotations

import pickle

import pytest

from telemetry.errors import HeadingMapNeededError, LogError, ReciprocalError


@pytest.mark.parametrize(
    "error",
    [
        LogError("it is empty", file="lake.gpx", place="line 3", mend="export it again"),
        HeadingMapNeededError("no column is named", headings=("U", "V"), file="lake.csv"),
    ],
)
def test_an_error_says_the_same_in_another_process(error: ReciprocalError) -> None:
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is type(error)
    assert (str(again), vars(again)) == (str(error), vars(error))
