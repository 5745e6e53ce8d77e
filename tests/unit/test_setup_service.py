"""What is due, and what to look at after a crash."""

from datetime import UTC, datetime, timedelta

import pytest

from telemetry.core.errors import SetupError
from telemetry.setup import (
    COMMON_PRACTICE,
    CRASH_LIST,
    USUAL_TASKS,
    Due,
    ServiceTask,
    Use,
    due,
    tasks_for,
    tasks_from_table,
)
from telemetry.setup.service import uses_from_table

NOW = datetime(2025, 6, 30, 12, tzinfo=UTC)
GREASE = ServiceTask("grease", "Grease", every_runs=5, every_hours=1.0, every_days=30)


def used(*days_ago: float, hours: float | None = 0.1) -> list[Use]:
    return [Use(NOW - timedelta(days=d), 1.0, hours) for d in days_ago]


def one(task: ServiceTask, uses: list[Use], last_days_ago: float | None = None) -> Due:
    done = {} if last_days_ago is None else {task.name: NOW - timedelta(days=last_days_ago)}
    (row,) = due([task], uses, done, NOW)
    return row


@pytest.mark.parametrize(
    ("uses", "last", "verdict"),
    [
        (used(1, 2), 10, "not due"),
        (used(1, 2, 3, 4), 10, "soon"),  # four of five runs
        (used(1, 2, 3, 4, 5), 10, "due"),
        (used(1, 2, 3, 4, 5), 3.5, "not due"),  # three of them since
        (used(1, hours=1.0), 10, "due"),
        (used(1), 30, "due"),
        (used(1), 25, "soon"),
        ([], 10, "not due"),
        ([], 40, "due"),
        (used(40), None, "due"),  # counted from the first outing
        (used(1), None, "not due"),
        ([], None, "cannot tell"),
        (used(1, hours=None), 10, "cannot tell"),  # hours may be over
        (used(1, 2, 3, 4, 5, hours=None), 10, "due"),  # runs are, whatever the hours
    ],
)
def test_the_first_interval_to_pass_counts(uses: list[Use], last: float | None, verdict: str) -> None:
    assert one(GREASE, uses, last).verdict == verdict


def test_the_evidence_is_told() -> None:
    assert one(GREASE, used(1, 2), 10).why == "2 of 5 runs, 0.2 of 1 hours, 10 of 30 days"
    assert "never recorded, counted from the first outing" in one(GREASE, used(3)).why
    assert "no log to count the hours" in one(GREASE, used(1, hours=None), 10).why


def test_what_is_due_comes_first() -> None:
    tasks = tasks_for()
    rows = due(tasks, used(*range(1, 21)), {}, NOW)
    order = ["due", "soon", "cannot tell", "not due"]
    ranks = [order.index(row.verdict) for row in rows]
    assert ranks == sorted(ranks)
    assert {row.task.name for row in rows} == {task.name for task in tasks}


def test_a_boat_has_its_own_intervals() -> None:
    own = tasks_from_table(
        {
            "hinge-slop": {"every_runs": 20},
            "fail-safe": {},
            "wing": {"title": "Wing", "look": "bolts", "every_days": 60},
        }
    )
    tasks = {task.name: task for task in tasks_for(own)}
    assert tasks["hinge-slop"].intervals() == [("runs", 20)]
    assert tasks["hinge-slop"].title == "Hinge slop"
    assert tasks["hinge-slop"].source != COMMON_PRACTICE
    assert tasks["wing"].interval_text() == "every 60 days"
    assert tasks["bushings"].source == COMMON_PRACTICE
    assert "fail-safe" not in {row.task.name for row in due(tasks.values(), used(1), {}, NOW)}
    assert ServiceTask(**tasks["wing"].to_dict()) == tasks["wing"]


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ({"grease": {"every_runs": 0}}, "not possible"),
        ({"grease": {"every_runs": "often"}}, "not a measured value"),
        ({"grease": {"each": 3}}, "unknown key"),
        ({"grease": 3}, "not a table"),
        ([], "not a table of tasks"),
    ],
)
def test_intervals_that_cannot_be_are_refused(table: object, said: str) -> None:
    with pytest.raises(SetupError, match=said) as refused:
        tasks_from_table(table, "boat.toml")
    assert "boat.toml" in str(refused.value)


def test_the_usual_tasks_are_those_of_the_trade_and_say_whose_they_are() -> None:
    names = {task.name for task in USUAL_TASKS}
    assert {"hinge-slop", "cooling-line", "fasteners", "driveline-grease", "bushings"} <= names
    assert all(task.source == COMMON_PRACTICE and task.intervals() for task in USUAL_TASKS)


def test_after_a_crash_the_pack_comes_first_and_the_fail_safe_before_the_water() -> None:
    names = [check.name for check in CRASH_LIST]
    assert names[0] == "pack-out"
    assert names.index("hull") < names.index("strut") < names.index("tabs") < names.index("fail-safe")
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("amount", [float("nan"), float("inf"), -1.0])
@pytest.mark.parametrize("what", ["runs", "hours"])
def test_wear_that_is_no_number_is_refused_where_it_stands(what: str, amount: float) -> None:
    with pytest.raises(SetupError, match=rf"use.toml.*{what} are not possible"):
        uses_from_table({"outings": [{"utc": NOW, what: amount}]}, "use.toml")
    with pytest.raises(SetupError, match="not possible"):
        ServiceTask("grease", "Grease", every_runs=amount)


def test_what_came_after_the_moment_asked_about_does_not_count() -> None:
    task = ServiceTask("grease", "Grease", every_runs=2)
    assert one(task, used(1, -1), 10).why == "1 of 2 runs"
    assert one(task, used(1, 0), 10).verdict == "due"  # at the very moment it does
    assert one(task, used(2, 1), -1).verdict == "due"  # not done yet
    assert one(task, used(-1)).verdict == "cannot tell"


def test_a_share_reached_but_for_rounding_is_reached() -> None:
    task = ServiceTask("grease", "Grease", every_hours=1.0)
    assert sum([0.1] * 8) < 0.8
    assert one(task, used(*range(1, 9)), 10).verdict == "soon"
    assert one(task, used(*range(1, 10)), 20).verdict == "soon"
    assert one(task, used(*range(1, 11)), 20).verdict == "due"
