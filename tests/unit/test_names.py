"""Public names: each is defined in one module of the library alone."""

from __future__ import annotations

import ast
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Final

LIBRARY: Final = Path(__file__).parents[2] / "telemetry"
# One of each for every module of a kind (COMMANDS, READER); the others are still to be made one.
ALLOWED: Final = frozenset({"COMMANDS", "READER"})


def public_names(file: Path) -> Iterator[str]:
    """Iterate over the public names that a module defines at its top level."""
    for node in ast.parse(file.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            names = [node.name]
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            names = [node.target.id]
        elif isinstance(node, ast.Assign):
            names = [target.id for target in node.targets if isinstance(target, ast.Name)]
        else:
            continue
        yield from (name for name in names if not name.startswith("_"))


def test_every_public_name_is_defined_once() -> None:
    places: dict[str, set[str]] = defaultdict(set)
    for file in LIBRARY.rglob("*.py"):
        if "migrations" not in file.parts:
            for name in public_names(file):
                places[name].add(file.relative_to(LIBRARY).as_posix())
    assert len(places) > 300
    twice = {name: sorted(files) for name, files in places.items() if len(files) > 1}
    assert not {name: files for name, files in twice.items() if name not in ALLOWED}
    assert len({name for name, files in twice.items() if name in ALLOWED}) > 1
