"""The command line: exit status, what goes where, and wrong calls that end in a sentence."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from importlib import import_module
from pathlib import Path
from typing import Any

import analysis_fixture
import pytest

from telemetry import __version__
from telemetry.analysis import Analysis, Request
from telemetry.cli import build_parser, commands, main, shielded
from telemetry.cli.catalogue import CATALOGUE
from telemetry.core.errors import DamagedLogError
from telemetry.readers import READERS, ReadOptions
from telemetry.twoway.rules import SHIPPED, parse_rule

Call = dict[str, Any]


@pytest.fixture
def calls(monkeypatch: pytest.MonkeyPatch) -> list[Call]:
    """Put a made-up analysis in the place of the real one and note what it was asked."""
    noted: list[Call] = []

    def stand_in(
        files: Sequence[Path],
        request: Request | None = None,
        options: ReadOptions | None = None,
        progress: Callable[[str, float], None] | None = None,
    ) -> Analysis:
        noted.append({"files": list(files), "request": request, "options": options, "progress": progress})
        return analysis_fixture.analysis()

    monkeypatch.setattr(commands, "read_and_analyse", stand_in)
    monkeypatch.delenv("RECIPROCAL_UNIT", raising=False)
    return noted


def status_of_wrong_call(argv: list[str]) -> int:
    with pytest.raises(SystemExit) as end:
        main(argv)
    assert isinstance(end.value.code, int)
    return end.value.code


def test_analyse_prints_the_report_and_ends_with_0(
    calls: list[Call], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["analyse", "a.gpx"]) == 0
    out, err = capsys.readouterr()
    assert out.startswith("Best two-way: 65.99 ± 0.11 mph")
    assert err == ""
    assert calls[0]["files"] == [Path("a.gpx")]
    assert calls[0]["request"] == Request()
    assert calls[0]["progress"] is None  # stderr is no terminal here


def test_every_option_reaches_the_analysis(calls: list[Call], tmp_path: Path) -> None:
    headings = tmp_path / "headings.toml"
    headings.write_text('"V GPS" = "speed_mps:km/h"\n', encoding="utf-8")
    argv = [
        "analyse",
        "a.csv",
        "--rule",
        "land",
        "--distance",
        "330 ft",
        "--gates",
        "-33.1,151.2,-33.2,151.3",
    ]
    argv += ["--headings", str(headings), "--pole-pairs", "2", "--gear", "1.5", "--unit", "km/h"]
    argv += ["--window", "30", "--mark", "72"]
    assert main(argv) == 0
    request: Request = calls[0]["request"]
    assert request.rule == "land"
    assert request.distance_m == pytest.approx(100.584)
    assert request.gates == ((-33.1, 151.2), (-33.2, 151.3))
    assert request.window_s == 1800.0
    assert request.mark_mps == pytest.approx(20.0)
    assert calls[0]["options"] == ReadOptions({"V GPS": "speed_mps:km/h"}, 2, 1.5)


def test_the_unit_comes_from_the_option_or_the_environment(
    calls: list[Call], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RECIPROCAL_UNIT", "kn")
    main(["analyse", "a.gpx"])
    assert "57.34 ± 0.10 kn" in capsys.readouterr().out
    main(["analyse", "a.gpx", "--unit", "m/s"])
    assert "29.500 ± 0.050 m/s" in capsys.readouterr().out
    monkeypatch.setenv("RECIPROCAL_UNIT", "furlongs")
    assert status_of_wrong_call(["analyse", "a.gpx"]) == 2
    assert "'furlongs' is not a speed unit" in capsys.readouterr().err


def test_an_unusable_log_is_named_on_stderr_and_the_rest_reported(
    calls: list[Call], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    error = DamagedLogError("it breaks off", file="b.fit", place="byte 14", hint="export it again")
    whole = replace(analysis_fixture.analysis(), errors=(error,))
    monkeypatch.setattr(commands, "read_and_analyse", lambda *_: whole)
    assert main(["analyse", "a.gpx", "b.fit"]) == 1
    out, err = capsys.readouterr()
    assert "Best two-way" in out
    assert err == "reciprocal: b.fit (byte 14): it breaks off. Fix: export it again.\n"


def test_a_folder_gives_the_logs_in_it_once(calls: list[Call], tmp_path: Path) -> None:
    for name in ("b.GPX", "a.nmea", "notes.md", "c.csv"):
        (tmp_path / name).touch()
    (tmp_path / "inner.fit").mkdir()
    assert main(["analyse", str(tmp_path), str(tmp_path / "c.csv")]) == 0
    assert [f.name for f in calls[0]["files"]] == ["a.nmea", "b.GPX", "c.csv"]


def test_the_shadows_of_files_in_a_folder_are_left_out_and_told_once(
    calls: list[Call], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("a.gpx", "b.csv", "._a.gpx", "._b.csv"):
        (tmp_path / name).write_text("x")
    assert main(["analyse", str(tmp_path)]) == 0
    assert [file.name for file in calls[0]["files"]] == ["a.gpx", "b.csv"]
    (told,) = capsys.readouterr().err.splitlines()
    assert told.endswith(": ._a.gpx, and 1 more")


def test_a_folder_without_logs_is_named(
    calls: list[Call], capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert main(["analyse", str(tmp_path), "a.gpx"]) == 1
    out, err = capsys.readouterr()
    assert "Best two-way" in out
    assert err.startswith(f"reciprocal: {tmp_path}: no file in this folder has one of the suffixes .")


def test_an_empty_name_is_not_the_current_folder(
    calls: list[Call], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["analyse", "", "a.gpx"]) == 1
    assert calls[0]["files"] == [Path("a.gpx")]
    assert "an empty name. Fix: name a log or a folder" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("argv", "says"),
    [
        ([], "required"),
        (["add"], "LOG"),
        (["race"], "invalid choice"),
        (["analyse", "a.gpx", "--unit", "parsec"], "'parsec' is not a speed unit; choose mph, km/h, kn, m/s"),
        (["analyse", "a.gpx", "--distance", "far"], "'far' is not a distance"),
        (["analyse", "a.gpx", "--distance", "1/0 mi"], "greater than zero"),
        (["analyse", "a.gpx", "--gates", "1,2,3"], "write four numbers"),
        (["analyse", "a.gpx", "--gates", "8.2,147.4,100,8"], "latitudes lie within ±90"),
        (["analyse", "a.gpx", "--gates", "8.2,190,8.3,8"], "longitudes within ±180"),
        (["analyse", "a.gpx", "--gates", "nan,1,2,3"], "latitudes lie within ±90"),
        (["analyse", "a.gpx", "--gates", "1,2,1,2"], "the same point"),
        (["analyse", "a.gpx", "--pole-pairs", "0"], "'0' is not a number of pole pairs"),
        (["analyse", "a.gpx", "--gear", "none"], "'none' is not a valid gear ratio"),
        (["analyse", "a.gpx", "--window", "0"], "'0' is not a valid time window"),
        (["analyse", "a.gpx", "--mark", "fast"], "'fast' is not a valid mark"),
        (["serve", "--port", "99999"], "'99999' is not a port"),
        (["outings", "--since", "0001-01-01T00:00+14:00"], "is not a time"),
    ],
)
def test_a_wrong_call_ends_with_2_and_says_what_is_wrong(
    argv: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status_of_wrong_call(argv) == 2
    assert says in capsys.readouterr().err


@pytest.mark.parametrize(
    ("argv", "says"),
    [
        (["analyse", "a.gpx", "--rule", "wter"], "there is no rule 'wter'. Fix: choose water"),
        (["rules", "--show", "wter"], "there is no built-in rule 'wter'. Fix: choose water"),
        (["analyse", "a.gpx", "--headings", "absent.toml"], "absent.toml: cannot be read"),
    ],
)
def test_what_cannot_be_asked_ends_with_2(
    argv: list[str], says: str, calls: list[Call], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(argv) == 2
    assert says in capsys.readouterr().err
    assert calls == []


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('"V GPS" = ', "not valid TOML"),
        ('"V GPS" = 3\n', "(V GPS): 3 is not a column"),
        ("\xff", "it is not UTF-8"),
    ],
)
def test_a_wrong_heading_map_is_a_wrong_call(
    text: str, says: str, calls: list[Call], capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    file = tmp_path / "headings.toml"
    file.write_text(text, encoding="latin-1")
    assert main(["analyse", "a.csv", "--headings", str(file)]) == 2
    assert says in capsys.readouterr().err


@pytest.mark.parametrize("name", ["round.gpx", "x" * 300 + ".gpx"], ids=["circle", "long"])
@pytest.mark.parametrize(
    ("call", "status"),
    [
        (["analyse", "{}"], 1),
        (["analyse", "--archive", "{}"], 2),
        (["analyse", "a.gpx", "--rule", "{}"], 2),
        (["backup", "{}/x"], 2),
    ],
    ids=lambda value: value[-1] if isinstance(value, list) else "",
)
def test_a_name_that_leads_nowhere_is_no_fault_of_the_program(
    name: str, call: list[str], status: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "round.gpx").symlink_to(tmp_path / "round.gpx")
    place = str(tmp_path / name)
    assert main([word.format(place) for word in call]) == status
    (told,) = capsys.readouterr().err.splitlines()
    assert place in told
    assert "fault of the program" not in told
    assert "Fix: " in told


def test_a_link_that_leads_in_a_circle_is_told_of_a_folder(tmp_path: Path, calls: list[Call]) -> None:
    (tmp_path / "a.gpx").write_text("<gpx/>")
    (tmp_path / "round.gpx").symlink_to(tmp_path / "round.gpx")
    main(["analyse", str(tmp_path)])
    assert [path.name for path in calls[0]["files"]] == ["a.gpx", "round.gpx"]


def test_a_word_in_another_encoding_is_told_and_no_fault(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> int:
        return len("l\udce9man".encode())

    monkeypatch.setattr(commands, "read_and_analyse", fail)
    assert main(["analyse", "a.gpx"]) == 2
    told = capsys.readouterr().err
    assert told == "reciprocal: 'l\ufffdman' is not valid text in this encoding. Fix: write it in UTF-8.\n"


def test_a_fault_of_the_program_is_a_sentence_too(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> Analysis:
        raise ZeroDivisionError("float division by zero")

    monkeypatch.setattr(commands, "read_and_analyse", fail)
    assert main(["analyse", "a.gpx"]) == 1
    err = capsys.readouterr().err
    assert "a fault of the program, not of your log: ZeroDivisionError" in err
    assert "Traceback" not in err


def test_rules_are_listed_and_shown(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rules"]) == 0
    listed = capsys.readouterr().out
    for name in SHIPPED:
        assert f"{name}: " in listed
        assert main(["rules", "--show", name]) == 0
        assert parse_rule(capsys.readouterr().out, "shown").name == name


def test_formats_names_every_reader(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["formats"]) == 0
    out = capsys.readouterr().out
    for reader in READERS:
        assert reader.name in out
        assert all(suffix in out for suffix in reader.suffixes)


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert status_of_wrong_call(["--version"]) == 0
    assert capsys.readouterr().out == f"reciprocal {__version__}\n"


def test_gates_may_begin_with_a_minus_only_as_a_value() -> None:
    assert shielded(["analyse", "--gates"]) == ["analyse", "--gates"]
    assert shielded(["analyse", "--gates=-1,2,3,4"]) == ["analyse", "--gates=-1,2,3,4"]


def test_json_is_the_contract(calls: list[Call], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["analyse", "a.gpx", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == analysis_fixture.analysis().to_dict()


class StandInDashboard:
    """Takes the place of the dashboard's module and notes how it was started."""

    def __init__(self, error: OSError | None = None) -> None:
        self.started: list[tuple[str, int, bool]] = []
        self.access: list[tuple[bool, bool]] = []
        self.logbooks: list[str | None] = []
        self.error = error

    def serve(
        self, host: str, port: int, *, samples: bool, logbook: str | None, lan: bool, new_passphrase: bool
    ) -> None:
        if self.error:
            raise self.error
        self.access.append((lan, new_passphrase))
        self.started.append((host, port, samples))
        self.logbooks.append(logbook)


def test_serve_starts_the_dashboard_on_this_machine_only(monkeypatch: pytest.MonkeyPatch) -> None:
    dashboard = StandInDashboard()
    monkeypatch.setitem(sys.modules, "dashboard.app", dashboard)
    assert main(["serve"]) == 0
    assert main(["serve", "--host", "127.0.0.2", "--port", "0"]) == 0
    assert main(["serve", "--host", "localhost"]) == 0
    assert [host for host, _, _ in dashboard.started] == ["127.0.0.1", "127.0.0.2", "localhost"]
    assert dashboard.access == [(False, False)] * 3


def test_serve_on_the_local_network_is_asked_for_and_guarded(monkeypatch: pytest.MonkeyPatch) -> None:
    dashboard = StandInDashboard()
    monkeypatch.setitem(sys.modules, "dashboard.app", dashboard)
    assert main(["serve", "--lan"]) == 0
    assert main(["serve", "--lan", "--host", "192.168.4.1", "--new-passphrase"]) == 0
    assert [host for host, _, _ in dashboard.started] == ["0.0.0.0", "192.168.4.1"]
    assert dashboard.access == [(True, False), (True, True)]


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["serve", "--host", "0.0.0.0"], "0.0.0.0 can be reached from other machines. Fix: add --lan"),
        (["serve", "--host", "somewhere"], "somewhere can be reached from other machines"),
        (["serve", "--new-passphrase"], "Fix: add --lan"),
    ],
)
def test_nothing_is_open_to_a_network_without_a_passphrase(
    more: list[str], said: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    dashboard = StandInDashboard()
    monkeypatch.setitem(sys.modules, "dashboard.app", dashboard)
    assert main(more) == 2
    assert said in capsys.readouterr().err
    assert dashboard.started == []


def test_a_taken_port_is_a_sentence(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    dashboard = StandInDashboard(OSError(98, "Address already in use"))
    monkeypatch.setitem(sys.modules, "dashboard.app", dashboard)
    assert main(["serve"]) == 2
    assert "cannot listen at 127.0.0.1, port 8050: Address already in use" in capsys.readouterr().err


def test_a_missing_dashboard_is_a_sentence(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "dashboard.app", None)
    assert main(["serve"]) == 2
    assert "there is no module dashboard.app" in capsys.readouterr().err


def test_demo_shows_every_sample_outing_and_ends_where_nobody_watches(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, home: Path
) -> None:
    dashboard = StandInDashboard()
    monkeypatch.setitem(sys.modules, "dashboard.app", dashboard)
    assert main(["demo"]) == 0  # stdout is no terminal here
    told = capsys.readouterr().out
    assert told.count("\nLogs\n") == 3
    assert re.search(r"Quorrel +as simulated", told)  # the logbook's list
    assert not home.exists()  # nothing of the user's own was touched
    assert dashboard.started == []


@pytest.mark.parametrize(("more", "started"), [([], [("127.0.0.1", 8050, True)]), (["--no-serve"], [])])
def test_demo_serves_the_samples_at_a_terminal(
    more: list[str], started: list[object], monkeypatch: pytest.MonkeyPatch
) -> None:
    dashboard = StandInDashboard()
    monkeypatch.setitem(sys.modules, "dashboard.app", dashboard)
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    assert main(["demo", *more]) == 0
    assert dashboard.started == started
    assert not any(Path(logbook or "").exists() for logbook in dashboard.logbooks)  # thrown away at the end


def test_progress_shows_only_at_a_terminal(calls: list[Call], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    main(["analyse", "a.gpx"])
    show = calls[0]["progress"]
    assert show is not None
    show("reading", 0.5)  # shown or not, it must take any step, also back
    show("judging", 0.4)


def test_the_list_of_commands_and_the_modules_behind_it_say_the_same() -> None:
    listed: dict[str, set[str]] = {}
    for entry in CATALOGUE:
        listed.setdefault(entry.module, set()).add(entry.name)
    for module, names in listed.items():
        assert set(import_module(f"telemetry.cli.{module}").COMMANDS) == names


def test_a_wrong_word_does_not_load_what_an_analysis_takes() -> None:
    asked = "import sys; from telemetry.cli import main\ntry: main(['analise'])\nexcept SystemExit as end:"
    told = f"{asked} print(end.code, {{'numpy', 'pandas', 'scipy', 'sqlalchemy'}} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True)
    assert done.stdout == "2 set()\n"
    assert "invalid choice: 'analise'" in done.stderr


def test_only_the_command_called_is_given_its_arguments() -> None:
    with pytest.raises(SystemExit):
        build_parser("rules").parse_args(["analyse", "a.gpx"])
    assert build_parser("rules").parse_args(["rules", "--show", "land"]).show == "land"
