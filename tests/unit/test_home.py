from __future__ import annotations

from pathlib import Path

import pytest

from telemetry.home import home_folder


def test_the_folder_is_where_the_environment_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RECIPROCAL_HOME", str(tmp_path / "kept"))
    assert home_folder() == tmp_path / "kept"
    assert not home_folder().exists()


def test_without_a_word_it_is_the_users_own(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("RECIPROCAL_HOME", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert home_folder().name == "reciprocal"
