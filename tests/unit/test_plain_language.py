"""Plain language: words that no file of the program uses."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

import pytest

ROOT: Final = Path(__file__).parents[2]
STOP_LIST: Final = {
    "reckon": r"\breckon",
    "nought": r"\bnoughts?\b",
    "anew": r"\banew\b",
    "befell": r"\bbefell\b",
    "mend": r"\bmend(s|ed|ing)?\b",
    "tells of": r"\btells? of\b",
    "lets go": r"\b(lets?|letting) go of\b",
    "lay beside": r"\b(lay|laid|lays|lies|stands?) beside\b",
    "say of": r"\bsays? of\b",
    "is no X": r"(?<!there )(?<!There )\bis no (?!(more|longer|less|further|faster|need|other)\b)[a-z]+",
    "judged how": r"Judged how",
    "beside others": r"beside (others|one another|each other)",
    "nothing that warns": r"Nothing that warns",
    "examined and not seen": r"[Ee]xamined and not seen",
    "as the rule prints it": r"[Aa]s the rule prints it",
    "the hand is away": r"The hand is",
    "told against": r"told against",
    "what became of": r"[Ww]hat became of",
    "whoever": r"\b[Ww]hoever\b",
}
# Not yet in plain words; an entry that finds nothing any more fails, so that the list only gets shorter.
NOT_YET: Final = (
    "telemetry/readers/",
    "telemetry/kinematics/",
    "telemetry/passes/",
    "telemetry/ride/",
    "telemetry/twoway/",
    "telemetry/cli/compare",
    "telemetry/compare/",
    "telemetry/logbook/",
    "dashboard/auth/",
    "dashboard/features/logbook/",
    "dashboard/security.py",
    "sample_logs/generate.py",  # a story that stands in a sample's JSON file
)


def found_in(file: Path) -> list[str]:
    """Return the stop-list words of a file with their lines."""
    return [
        f"{file.relative_to(ROOT)}:{number}: {name}: {line.strip()}"
        for number, line in enumerate(file.read_text(encoding="utf-8").splitlines(), 1)
        for name, pattern in STOP_LIST.items()
        if re.search(pattern, line)
    ]


def texts() -> list[Path]:
    trees = (
        path for tree in ("telemetry", "dashboard", "sample_logs") for path in (ROOT / tree).rglob("*.py")
    )
    guide = (ROOT / "telemetry" / "text" / "guide").glob("*.md")
    return [*sorted(trees), *sorted(guide), ROOT / "README.md", ROOT / "DEVELOPERS.md"]


def test_no_file_uses_a_word_of_the_stop_list() -> None:
    files = [f for f in texts() if not f.relative_to(ROOT).as_posix().startswith(NOT_YET)]
    assert len(files) > 100
    assert not [line for file in files for line in found_in(file)]


@pytest.mark.parametrize("name", NOT_YET)
def test_a_file_that_is_plain_leaves_the_list(name: str) -> None:
    files = [f for f in texts() if f.relative_to(ROOT).as_posix().startswith(name)]
    assert any(found_in(file) for file in files), f"{name} is plain: take it off NOT_YET"


def test_the_stop_list_finds_its_words(tmp_path: Path) -> None:
    line = "Reckon it anew: 0 is no speed, say of it what befell"
    assert [name for name, pattern in STOP_LIST.items() if re.search(pattern, line.lower())] == [
        "reckon",
        "anew",
        "befell",
        "say of",
        "is no X",
    ]
