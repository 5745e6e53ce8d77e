"""README and DEVELOPERS say what the code is, or a test fails."""

from __future__ import annotations

import argparse
import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import get_args

import pytest

from sample_logs import data_folder
from telemetry import __version__
from telemetry.cleaning.clean import clean
from telemetry.cli import build_parser, main
from telemetry.core.frames import MOTOR_COLUMNS, TRACK_COLUMNS, Column, Track
from telemetry.readers import READERS, read_log
from telemetry.readers.headings import IGNORE, RPM_COLUMNS, TIME_COLUMNS
from telemetry.ride.incidents import RideVerdict as RideVerdict
from telemetry.text.guide import TOPICS, topic_text
from telemetry.twoway.mean import TwoWayVerdict
from telemetry.twoway.rules import SHIPPED

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
GUIDE = "\n".join(topic_text(name) for name in TOPICS)
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
CI = (ROOT / ".ci" / "run").read_text(encoding="utf-8")

INSTALL_AND_TRY = "python3 -m venv .venv && .venv/bin/pip install -e . && .venv/bin/reciprocal demo"
INSTALL_AND_TEST = 'python3 -m venv .venv && .venv/bin/pip install -e ".[test]" && .venv/bin/pytest -n auto'


def table_rows(text: str) -> Iterator[list[str]]:
    """The cells of every row of every table in a Markdown text."""
    for line in text.splitlines():
        if line.startswith("| ") and line.endswith(" |"):
            yield [cell.strip() for cell in line[1:-1].split("|")]


def fenced(text: str, language: str) -> list[str]:
    return [block.strip() for block in re.findall(rf"```{language}\n(.*?)```", text, flags=re.DOTALL)]


def test_the_two_commands_are_what_ci_runs() -> None:
    (pattern,) = re.findall(r"grep '([^']+)' README\.md", CI)
    run_by_ci = [line for line in README.splitlines() if re.search(pattern, line)]
    assert run_by_ci == [INSTALL_AND_TRY, INSTALL_AND_TEST]
    assert set(run_by_ci) <= set(fenced(README, "sh"))


@pytest.mark.parametrize("command", [INSTALL_AND_TRY, INSTALL_AND_TEST])
def test_the_windows_spelling_is_the_same_command(command: str) -> None:
    lines = command.replace("python3", "py").replace(".venv/bin/", ".venv\\Scripts\\").split(" && ")
    assert "\n".join(lines) in fenced(README, "bat")


def test_every_format_stands_in_the_guide_with_its_endings() -> None:
    formats = {cells[0].strip("`"): cells[2] for cells in table_rows(GUIDE) if len(cells) == 3}
    for reader in READERS:
        assert formats[reader.name] == " ".join(reader.suffixes)


def test_the_names_a_heading_map_may_use_stand_in_the_guide() -> None:
    for name in (*TIME_COLUMNS, *RPM_COLUMNS, IGNORE):
        assert f"`{name}`" in GUIDE + DEVELOPERS


def subparsers() -> dict[str, argparse.ArgumentParser]:
    (action,) = (a for a in build_parser()._actions if isinstance(a, argparse._SubParsersAction))
    return dict(action.choices)


def test_every_command_stands_in_the_guide() -> None:
    for name in subparsers():
        assert f"| `reciprocal {name}" in GUIDE


@pytest.mark.parametrize("command", ["analyse", "what-if", "statement"])
def test_every_option_stands_in_the_guide(command: str) -> None:
    for action in subparsers()[command]._actions:
        if "--help" not in action.option_strings:
            assert all(f"`{option}" in GUIDE for option in action.option_strings)


def test_every_shipped_rule_and_verdict_stands_in_the_guide() -> None:
    for word in (*SHIPPED, *get_args(TwoWayVerdict), *get_args(RideVerdict)):
        assert f"`{word}`" in GUIDE


@pytest.mark.parametrize(("title", "columns"), [("track", TRACK_COLUMNS), ("motor", MOTOR_COLUMNS)])
def test_the_column_table_is_the_one_in_the_code(title: str, columns: dict[str, Column]) -> None:
    section = topic_text("columns").split(f"## The {title} table\n")[1].split("\n## ")[0]
    documented = [cells for cells in table_rows(section)][1:]
    in_code = [[f"`{c.name}`", c.unit, f"{c.low:g} to {c.high:g}", c.meaning] for c in columns.values()]
    assert documented == in_code


def codes_written_in_the_code() -> set[str]:
    """The literal codes that are handed to whatever makes a finding."""
    codes = set()
    for file in (ROOT / "telemetry").rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            maker = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            place = {"Finding": 0, "spanning": 0, "reject": 1}.get(maker)
            if place is not None and len(node.args) > place:
                argument = node.args[place]
                if isinstance(argument, ast.Constant):
                    codes.add(argument.value)
    return codes


def codes_of_the_samples() -> set[str]:
    logs = [log for file in data_folder().iterdir() if file.suffix != ".json" for log in read_log(file)]
    return {f.code for log in logs for f in (clean(log).findings if isinstance(log, Track) else log.findings)}


def test_every_finding_code_is_explained() -> None:
    explained = {cells[0].strip("`") for cells in table_rows(topic_text("findings")) if len(cells) == 2}
    written, seen = codes_written_in_the_code(), codes_of_the_samples()
    assert {"false-spike", "salvaged", "no-fix"} <= written
    assert {"duplicate", "dropout"} <= seen
    assert written | seen <= explained


def test_the_map_names_every_module() -> None:
    for package in ("telemetry", "dashboard"):  # sample_logs/README.md has a map of its own
        for path in (ROOT / package).iterdir():
            is_module = path.suffix == ".py" or (path / "__init__.py").is_file()
            if is_module and not path.name.startswith("__"):
                name = f"{package}/{path.name}" + ("/" if path.is_dir() else "")
                assert f"`{name}`" in DEVELOPERS, f"the map of the code lacks {name}"


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md", "CHANGELOG.md"])
def test_links_inside_the_repository_lead_somewhere(document: str) -> None:
    text = (ROOT / document).read_text(encoding="utf-8")
    for target in re.findall(r"\]\((?!https?:|#)([^)#]+)", text):
        assert (ROOT / target).is_file(), f"{document} points at {target}"


def test_the_page_for_developers_is_short() -> None:
    assert len(DEVELOPERS.splitlines()) <= 250
    glossary = DEVELOPERS.split("## Glossary\n")[1].split("\n## ")[0]
    assert len(glossary.replace("*", "").split()) <= 60


def test_readme_is_short_and_lists_every_topic_of_the_guide() -> None:
    assert len(README.splitlines()) <= 200
    listed = {cells[0].strip("`") for cells in table_rows(README) if cells[0].startswith("`")}
    assert listed == set(TOPICS)
    files = {file.stem for file in (ROOT / "telemetry" / "text" / "guide").glob("*.md")}
    assert files == set(TOPICS)


def test_the_example_from_python_runs(capsys: pytest.CaptureFixture[str]) -> None:
    (example,) = fenced(README, "python")
    exec(example, {})
    assert re.fullmatch(r"\d+\.\d\d ± \d\.\d\d m/s: counts\n", capsys.readouterr().out)


def test_the_guide_prints_its_topics(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["guide"]) == 0
    contents = capsys.readouterr().out
    assert all(f"  {name} " in contents for name in TOPICS)
    for name in TOPICS:
        assert main(["guide", name]) == 0
        assert capsys.readouterr().out.startswith("# ")
    assert main(["guide", "nonsense"]) == 2
    assert "no topic 'nonsense'" in capsys.readouterr().err


def test_the_changelog_speaks_of_this_version() -> None:
    assert __version__ in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
