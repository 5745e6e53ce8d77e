"""What an archive holds, what is kept of it, and that nothing is done twice or lost."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import time
from collections.abc import Generator, Iterator
from pathlib import Path

import pytest
from archives import fill, here, mixed, written

from telemetry.analysis import Request, read_and_analyse
from telemetry.archive import analyse_archive, find_items
from telemetry.archive import worker as work_module
from telemetry.archive.discover import MAX_LOGS_OF_AN_OUTING
from telemetry.archive.process_pool import single_threaded_workers
from telemetry.archive.results import Results, request_id
from telemetry.archive.worker import Outcome, Task
from telemetry.cleaning.corrections import ByHand, Cut, Restored
from telemetry.cli import archive as cli_archive
from telemetry.cli import main
from telemetry.cli.archive import archive_progress
from telemetry.core.errors import CallError
from telemetry.readers import ReadOptions
from telemetry.twoway.rules import load_rule


class Counting:
    """An engine that counts what it is given."""

    def __init__(self) -> None:
        self.tasks = 0

    def __call__(self, tasks: Iterator[Task]) -> Generator[tuple[Task, Outcome]]:
        for settled in here(tasks):
            self.tasks += 1
            yield settled


@pytest.fixture(scope="module")
def everything(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """An archive of some of everything, and its results."""
    archive = mixed(tmp_path_factory.mktemp("archive") / "logs")
    out = archive.with_name("results")
    analyse_archive(archive, out, here)
    return archive, out


def rows(out: Path) -> dict[str, dict[str, str]]:
    with (out / "summary.csv").open(encoding="utf-8", newline="") as stream:
        return {row["item"]: row for row in csv.DictReader(stream)}


def test_folders_are_outings_and_loose_logs_stand_alone(everything: tuple[Path, Path]) -> None:
    found = find_items(everything[0])
    assert [item.name for item in found.items] == [
        *("00000.csv", "00001.csv", "00002.csv", "2025/may", "alone.csv", "broken.gpx"),
        *("lake.csv + lake.gpx", "twins"),
    ]
    assert found.passed_over == 1


def test_every_item_has_a_row_that_says_how_it_ended(everything: tuple[Path, Path]) -> None:
    table = rows(everything[1])
    assert list(table) == [item.name for item in find_items(everything[0]).items]
    assert table["broken.gpx"]["outcome"] == "could not be used"
    assert "Fix:" in table["broken.gpx"]["error"]
    may = table["2025/may"]
    assert (may["outcome"], may["unused_logs"], may["speed_logs"], may["motor_logs"]) == (
        "done",
        "1",
        "1",
        "1",
    )
    assert "cut.fit" in may["error"]
    assert table["lake.csv + lake.gpx"]["joined_motor_logs"] == "1"
    assert (table["alone.csv"]["speed_logs"], table["alone.csv"]["passes"]) == ("0", "0")


def test_a_result_is_what_analyse_says(everything: tuple[Path, Path]) -> None:
    archive, out = everything
    result = json.loads((out / rows(out)["00001.csv"]["result"]).read_bytes())
    del result["archive"]
    alone = read_and_analyse([archive / "00001.csv"]).to_dict()
    alone["logs"][0]["file"] = "00001.csv"
    for a_pass in alone["passes"]:
        a_pass["log"] = "00001.csv"
    assert result == json.loads(json.dumps(alone))
    assert float(rows(out)["00001.csv"]["peak_mps"]) == max(p["peak_mps"] for p in alone["passes"])


def test_a_copy_is_analysed_once(everything: tuple[Path, Path]) -> None:
    table = rows(everything[1])
    assert table["twins"]["result"] == table["00000.csv"]["result"]


def test_what_is_finished_is_not_done_again_wherever_it_lies(tmp_path: Path) -> None:
    archive, out, count = fill(tmp_path / "logs", 4), tmp_path / "out", Counting()
    analyse_archive(archive, out, count)
    before = written(out)
    summary = analyse_archive(archive, out, count)
    assert (count.tasks, summary.before) == (4, 4)
    assert written(out) == before
    moved = archive.rename(tmp_path / "elsewhere")
    (moved / "day").mkdir()
    (moved / "00003.csv").rename(moved / "day" / "00003.csv")
    assert analyse_archive(moved, out, count).before == 4
    assert count.tasks == 4


def test_another_question_is_answered_anew_and_the_old_answer_kept(tmp_path: Path) -> None:
    archive, out, count = fill(tmp_path / "logs", 1), tmp_path / "out", Counting()
    analyse_archive(archive, out, count)
    analyse_archive(archive, out, count, Request(distance_m=50.0))
    analyse_archive(archive, out, count)
    assert count.tasks == 2
    assert rows(out)["00000.csv"]["distance_m"] != "50.0"


def test_a_question_is_its_rule_and_not_the_rules_file(tmp_path: Path) -> None:
    rule = load_rule("water")
    plain = request_id(Request(rule=rule), ReadOptions())
    assert plain == request_id(Request(rule=load_rule("water")), ReadOptions())
    stretch = ("lake.gpx", 1.0, 2.0)
    by_hand = [ByHand().with_(kind(*stretch)) for kind in (Cut, Restored)]
    others = [
        *(request_id(Request(rule=rule, by_hand=said), ReadOptions()) for said in by_hand),
        request_id(Request(rule=load_rule("land")), ReadOptions()),
        request_id(Request(rule=rule, mark_mps=30.0), ReadOptions()),
        request_id(Request(rule=rule), ReadOptions(pole_pairs=2)),
        request_id(Request(rule=rule), ReadOptions(headings={"U": "voltage_v"})),
    ]
    assert len({plain, *others}) == 7


def test_a_half_written_result_is_never_taken_for_a_whole_one(tmp_path: Path) -> None:
    archive, out, count = fill(tmp_path / "logs", 3), tmp_path / "out", Counting()
    analyse_archive(archive, out, count)
    whole = written(out)
    for k, file in enumerate(sorted((out / "items").iterdir())):
        cut = (b"", file.read_bytes()[:-2], file.read_bytes().replace(b"reciprocal-analysis/1", b"other/1"))[
            k
        ]
        file.write_bytes(cut)
    analyse_archive(archive, out, count)
    assert count.tasks == 6
    assert written(out) == whole


def test_results_of_other_versions_are_made_anew_and_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    archive, out, count = fill(tmp_path / "logs", 3), tmp_path / "out", Counting()
    analyse_archive(archive, out, count)
    whole = written(out)
    for file in sorted((out / "items").iterdir())[:2]:
        kept = json.loads(file.read_bytes())
        kept["archive"]["made_by"] = kept["archive"]["made_by"].replace("numpy ", "numpy 0.")
        kept["passes"] = []
        file.write_text(json.dumps(kept))
    summary = analyse_archive(archive, out, count)
    assert (count.tasks, summary.before, summary.outdated) == (5, 1, 2)
    assert written(out) == whole
    cli_archive._tell(summary)
    assert "2 were analysed again: another version of Python" in capsys.readouterr().out
    assert analyse_archive(archive, out, count).outdated == 0


def test_what_a_kill_left_is_swept_up_later(tmp_path: Path) -> None:
    (tmp_path / "out" / "items").mkdir(parents=True)
    results = Results(tmp_path / "out" / "new")
    old, young = (results.file(name).with_suffix(".new") for name in ("old", "young"))
    old.write_bytes(b"{")
    young.write_bytes(b"{")
    os.utime(old, (time.time() - 7200.0,) * 2)
    Results(tmp_path / "out" / "new")
    assert not old.exists()
    assert young.exists()


def test_results_in_the_archive_are_not_looked_through(tmp_path: Path) -> None:
    archive = fill(tmp_path / "logs", 2)
    first = analyse_archive(archive, archive / "results", here)
    again = analyse_archive(archive, archive / "results", here)
    assert [row[0].name for row in again.rows] == [row[0].name for row in first.rows]
    assert again.passed_over == 0


def test_a_season_in_one_folder_is_no_outing_and_is_told(tmp_path: Path) -> None:
    archive = tmp_path / "logs"
    fill(archive / "2024", MAX_LOGS_OF_AN_OUTING + 1)
    (item,) = find_items(archive).items
    assert "--archive" in str(item.error)
    assert all(item.error is None for item in find_items(archive / "2024").items)


@pytest.mark.skipif(os.name != "posix", reason="links and odd names as on POSIX")
def test_the_shadows_of_files_are_no_items(tmp_path: Path) -> None:
    archive = fill(tmp_path / "logs", 1)
    (archive / "._00000.csv").write_bytes(b"\0\5\x16\7")
    found = find_items(archive)
    assert ([item.name for item in found.items], found.passed_over) == (["00000.csv"], 1)


def test_links_and_odd_names_are_told(tmp_path: Path) -> None:
    archive = fill(tmp_path / "logs", 1)
    (archive / "around").symlink_to(archive, target_is_directory=True)
    odd = os.fsencode(str(archive)) + b"/l\xe4ke.csv"
    Path(os.fsdecode(odd)).write_bytes((archive / "00000.csv").read_bytes())
    summary = analyse_archive(archive, tmp_path / "out", here)
    outcomes = {item.name: facts for item, _, facts in summary.rows}
    assert "not followed" in outcomes["around"].error
    assert outcomes["l\\udce4ke.csv"].outcome == "done"


def test_a_file_that_may_not_be_read_is_told_and_the_rest_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    archive = tmp_path / "logs"
    fill(archive / "day", 2)
    read = Path.read_bytes

    def refuse(path: Path) -> bytes:
        if path.name == "00001.csv":
            raise PermissionError(13, "Permission denied")
        return read(path)

    monkeypatch.setattr(Path, "read_bytes", refuse)
    ((_, _, facts),) = analyse_archive(archive, tmp_path / "out", here).rows
    assert (facts.outcome, facts.speed_logs, facts.unused_logs) == ("done", 1, 1)
    assert "Permission denied" in facts.error


def test_a_fault_of_the_program_costs_one_item_and_is_not_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    archive, out = fill(tmp_path / "logs", 2), tmp_path / "out"

    def fail(*_: object) -> None:
        raise ZeroDivisionError("by nothing")

    with monkeypatch.context() as patch:
        patch.setattr(work_module, "analyse", fail)
        summary = analyse_archive(archive, out, here)
    assert len(summary.unusable) == 2
    assert "fault of the program" in rows(out)["00000.csv"]["error"]
    assert analyse_archive(archive, out, here).unusable == ()


def test_workers_of_another_version_are_refused(tmp_path: Path) -> None:
    def foreign(tasks: Iterator[Task]) -> Generator[tuple[Task, Outcome]]:
        for task, outcome in here(tasks):
            yield task, Outcome(outcome.document, outcome.facts, "reciprocal 9.9")

    with pytest.raises(CallError, match=r"9\.9.*same versions"):
        analyse_archive(fill(tmp_path / "logs", 1), tmp_path / "out", foreign)
    assert list((tmp_path / "out" / "items").iterdir()) == []


def test_items_are_taken_as_there_is_room_for_them(tmp_path: Path) -> None:
    """Memory: an engine that has taken one task has had one item read, not all."""
    archive = fill(tmp_path / "logs", 5)

    def one(tasks: Iterator[Task]) -> Generator[tuple[Task, Outcome]]:
        first = next(tasks)
        for file in sorted(archive.iterdir())[1:]:
            file.write_bytes(b"")  # what was not read yet is empty when its turn comes
        yield from here(iter([first, *tasks]))

    summary = analyse_archive(archive, tmp_path / "out", one)
    assert [facts.outcome for _, _, facts in summary.rows] == ["done"] + ["could not be used"] * 4


@pytest.mark.parametrize(
    ("argv", "says"),
    [
        (["--jobs", "2", "x.gpx"], "--jobs needs --archive"),
        ([], "no log given"),
        (["--archive", "A", "x.gpx"], "cannot be combined with logs"),
        (["--archive", "A", "--json"], "JSON files"),
        (["--archive", "A", "--cut", "x.gpx:1..2"], "need the logs of one outing"),
        (["--archive", "A", "--jobs", "2", "--scheduler", "tcp://127.0.0.1:1"], "--jobs or --scheduler"),
        (["--archive", "A", "--rule", "nobody's"], "no rule"),
        (["--archive", "nowhere"], "is not a folder"),
    ],
)
def test_a_wrong_call_is_one_sentence(
    argv: list[str],
    says: str,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["analyse", *argv]) == 2
    assert says in capsys.readouterr().err


def test_a_folder_with_other_things_is_not_written_into(tmp_path: Path) -> None:
    archive = fill(tmp_path / "logs", 1)
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "one.txt").write_text("dear", encoding="utf-8")
    with pytest.raises(CallError, match="files that are not results"):
        analyse_archive(archive, tmp_path / "letters", here)
    assert [file.name for file in (tmp_path / "letters").iterdir()] == ["one.txt"]


def test_workers_are_told_to_reckon_in_one_thread_and_nobody_else(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("OPENBLAS_NUM_THREADS", "7")
    monkeypatch.delenv("OMP_NUM_THREADS", raising=False)
    with single_threaded_workers():
        assert (os.environ["OPENBLAS_NUM_THREADS"], os.environ["OMP_NUM_THREADS"]) == ("1", "1")
    assert os.environ["OPENBLAS_NUM_THREADS"] == "7"
    assert "OMP_NUM_THREADS" not in os.environ


def test_where_a_person_watches_they_see_how_far_it_is_and_how_long_the_rest_takes(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    screen = io.StringIO()
    monkeypatch.setattr(screen, "isatty", lambda: True)
    monkeypatch.setattr("sys.stderr", screen)
    with archive_progress() as show:
        assert show is not None
        for settled in range(1, 13):
            time.sleep(0.1)
            show(settled, 40)
    assert re.search(r"12/40 \[\d\d:\d\d<\d\d:\d\d,", screen.getvalue())


def test_where_nobody_watches_nothing_is_shown() -> None:
    with archive_progress() as show:
        assert show is None


def test_a_folder_that_is_not_there_leaves_none_behind(tmp_path: Path) -> None:
    with pytest.raises(CallError):
        analyse_archive(tmp_path / "mistyped", tmp_path / "mistyped-analysed", here)
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_another_run_puts_in_its_place_meanwhile_stops_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    archive = fill(tmp_path / "logs", 1, rate_hz=1.0)
    analyse_archive(archive, tmp_path / "out", here)
    for folder in (tmp_path / "out", tmp_path / "out" / "items"):
        for name in ("old.new", "gone.new"):
            (folder / name).write_bytes(b"")
            os.utime(folder / name, (0.0, 0.0))
    stat = Path.stat

    def gone(path: Path, **more: bool) -> os.stat_result:
        if path.name == "gone.new":
            path.unlink(missing_ok=True)
        return stat(path, **more)

    monkeypatch.setattr(Path, "stat", gone)
    assert analyse_archive(archive, tmp_path / "out", here).unusable == ()
    assert list((tmp_path / "out").rglob("*.new")) == []
