from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from telemetry.core.paths import atomic_write, home_folder


def test_the_folder_is_where_the_environment_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RECIPROCAL_HOME", str(tmp_path / "kept"))
    assert home_folder() == tmp_path / "kept"
    assert not home_folder().exists()


def test_without_a_word_it_is_the_users_own(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("RECIPROCAL_HOME", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert home_folder().name == "reciprocal"


@pytest.mark.skipif(os.name != "posix", reason="modes are of POSIX")
@pytest.mark.parametrize(("umask", "mode"), [(0o022, 0o644), (0o027, 0o640), (0o077, 0o600)])
def test_a_file_has_the_mode_that_the_user_wants_and_a_secret_is_its_owners(
    umask: int, mode: int, tmp_path: Path
) -> None:
    before = os.umask(umask)
    try:
        for name, private in (("open", False), ("secret", True)):
            with atomic_write(tmp_path / name, private=private) as stream:
                stream.write(b"x")
                beside = [file for file in tmp_path.iterdir() if file.suffix == ".new"]
                assert stat.S_IMODE(beside[0].stat().st_mode) == (0o600 if private else mode)
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "open").stat().st_mode) == mode
    assert stat.S_IMODE((tmp_path / "secret").stat().st_mode) == 0o600


def test_what_fails_while_it_is_written_leaves_what_was_there(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"before")

    def fails() -> None:
        with atomic_write(tmp_path / "a") as stream:
            stream.write(b"half")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fails()
    assert {file.name: file.read_bytes() for file in tmp_path.iterdir()} == {"a": b"before"}
