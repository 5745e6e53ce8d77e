"""What the whole test tree shares."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings
from logbooks import fleet, logbook, logbook_url, postgres_server, postgres_url
from seasons import season_url

__all__ = ["fleet", "logbook", "logbook_url", "postgres_server", "postgres_url", "season_url"]

ROOT = Path(__file__).resolve().parents[1]

# Time limits on single examples measure the machine, not the code. CI repeats the same examples in every run,
# so that a red build means a change in the code; elsewhere hypothesis goes on looking for new ones.
settings.register_profile("here", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("ci" if os.environ.get("CI") else "here")


@pytest.fixture(scope="session", autouse=True)
def _no_test_touches_the_users_home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Give whatever wide fixtures make a folder of its own in the place of the user's."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("RECIPROCAL_HOME", str(tmp_path_factory.mktemp("home")))
        yield


@pytest.fixture(autouse=True)
def home(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A program's folder for this test alone, not made yet: nothing is kept from one test to the next."""
    folder = tmp_path_factory.mktemp("home") / "reciprocal"
    monkeypatch.setenv("RECIPROCAL_HOME", str(folder))
    return folder


@pytest.fixture(scope="session")
def repository() -> Path:
    """The repository's root folder."""
    return ROOT


@pytest.fixture(scope="session")
def real_logs() -> Path:
    """Recorded logs of other people's devices, which the repository may not carry."""
    folder = ROOT.parent / "shared" / "real_logs"
    if not folder.is_dir():
        pytest.skip("the recorded logs (../shared/real_logs) are not beside this clone")
    return folder
