"""Hold an installed wheel to what it must bring along: ``installed.py SDIST WHEEL``."""

from __future__ import annotations

import importlib
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path, PurePosixPath

PACKAGES = ("telemetry", "dashboard", "sample_logs")
PICTURES = {".png", ".jpg", ".webp"}
BESIDES = {
    "pyproject.toml",
    "README.md",
    "CHANGELOG.md",
    "DEVELOPERS.md",
    "LICENSE",
    ".gitignore",
    "PKG-INFO",
}


def check_contents(sdist: Path, wheel: Path) -> None:
    """Let neither drag along what no user needs, nor weigh much."""
    with tarfile.open(sdist) as archive:
        packed = [PurePosixPath(*PurePosixPath(name).parts[1:]) for name in archive.getnames()]
    with zipfile.ZipFile(wheel) as archive:
        built = [PurePosixPath(name) for name in archive.namelist()]
    strays = [name for name in packed if name.parts[0] not in {*PACKAGES, "tests", *BESIDES}]
    strays += [name for name in built if name.parts[0] not in PACKAGES and ".dist-info" not in name.parts[0]]
    strays += [name for name in packed + built if name.suffix in PICTURES]
    assert not strays, f"nobody needs these: {', '.join(map(str, strays))}"
    for file in (sdist, wheel):
        assert file.stat().st_size < 2_500_000, f"{file.name} weighs {file.stat().st_size} bytes"


def check_places() -> None:
    """Hold what runs to be what was installed."""
    for package in PACKAGES:
        where = Path(str(importlib.import_module(package).__file__))
        assert where.is_relative_to(sys.prefix), f"{package} was taken from {where}"


def check_dashboard() -> None:
    """Ask for the first page and for every file that pages name."""
    app = importlib.import_module("dashboard.app").create_app()
    client = app.server.test_client()
    base = "http://127.0.0.1:8050"
    first = client.get("/", base_url=base)
    assert first.status_code == 200
    assets = Path(str(importlib.import_module("dashboard").__file__)).parent / "assets"
    names = [file.relative_to(assets).as_posix() for file in assets.rglob("*") if file.is_file()]
    assert any(name.endswith(".css") for name in names)
    assert "assets/page.css" in first.get_data(as_text=True)
    for name in names:
        with client.get(f"/assets/{name}", base_url=base) as answer:
            assert answer.status_code == 200, name


def check_commands() -> None:
    """Run the commands that need files of ours."""
    data = Path(str(importlib.import_module("sample_logs").__file__)).parent / "data"
    logs = [str(data / name) for name in ("four_passes.gpx", "four_passes_motor.csv")]
    command = str(Path(sys.executable).with_name("reciprocal"))
    for argv in (
        ["analyse", *logs, "--json"],
        ["analyse", "--archive", str(data), "--out", "results"],
        ["statement", *logs, "--output", "statement.html"],
        ["rules", "--show", "land"],
        ["boats"],  # makes a logbook: every step of the database's schema
    ):
        done = subprocess.run([command, *argv], capture_output=True, check=False, text=True)
        assert done.returncode == 0, (argv, done.stdout, done.stderr)
    assert "</html>" in Path("statement.html").read_text(encoding="utf-8")
    assert len(list(Path("results/items").glob("*.json"))) == 7


check_contents(*map(Path, sys.argv[1:]))
check_places()
check_dashboard()
check_commands()
