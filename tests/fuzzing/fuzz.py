"""Fuzz the readers, guided by which of their lines an input reaches.

    python tests/fuzzing/fuzz.py --minutes 30                  all targets in turn, five minutes at a time
    python tests/fuzzing/fuzz.py --minutes 2 --target fit      one of them
    python tests/fuzzing/fuzz.py --replay FILE --target fit    one input, with what is wrong with it
    python tests/fuzzing/fuzz.py --summary                     what the runs in the folder came to

Needs the extra `fuzz` (atheris), for which there are wheels for few versions of Python. The corpus, what is
found and a line of figures for each slice of time are kept in `--folder`: a run goes on where the last ended.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import random
import re
import resource
import subprocess
import sys
import tempfile
import time
import traceback
import warnings
from collections import defaultdict
from pathlib import Path
from typing import Any, Final

_LONGEST_INPUT: Final = 16_384
# What is instrumented grows by some 80 kB an NMEA input, and by nothing without that: a long slice ends here.
_MEGABYTES: Final = 2_000
_SECONDS_AN_INPUT: Final = 180  # by the clock on the wall: a long run is polite to whatever else runs
_SLACK: Final = 5.0  # instrumented code on a busy machine
_OURS: Final = [
    "telemetry.readers",
    "telemetry.cleaning.timeline",
    "telemetry.twoway.rules",
    "telemetry.setup",
]
_THEIRS: Final = ["gpxpy", "fitparse", "fitdecode", "zipfile", "gzip", "_compression", "csv", "tomllib"]
_STATISTIC: Final = re.compile(r"stat::(\w+):\s+(\d+)")
_COVERAGE: Final = re.compile(r"cov: (\d+) ft: (\d+) corp: (\d+)")


def main() -> int:
    """Run what the arguments say; 1 where something was found, or a target did not even begin."""
    parser = argparse.ArgumentParser(description="fuzz the readers")
    parser.add_argument("--target", action="append", help="which (default: all in turn)")
    parser.add_argument("--minutes", type=float, default=1.0, help="altogether")
    parser.add_argument("--slice", type=float, default=5.0, help="minutes at a time for each target")
    parser.add_argument("--runs", type=int, help="so many inputs a slice, the same ones each time")
    parser.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "reciprocal_fuzz")
    parser.add_argument("--replay", type=Path, nargs="*", help="inputs to look at, without atheris")
    parser.add_argument("--summary", action="store_true")
    parser.add_argument("--inside", nargs=argparse.REMAINDER, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.inside is not None:
        _fuzz(asked.target[0], asked.folder, asked.inside)
    if asked.replay is not None:
        return _replay(asked.target, asked.replay)
    if not asked.summary:
        more = [] if asked.runs is None else [f"-runs={asked.runs}", "-seed=1"]
        _in_turn(asked.target or _names(), asked.minutes * 60, asked.slice * 60, asked.folder, more)
    return _summary(asked.folder)


def _names() -> list[str]:
    from fuzz_targets import TARGETS

    return list(TARGETS)


def _replay(targets: list[str] | None, files: list[Path]) -> int:
    """Look at inputs as the tests do: warnings are errors, everything is examined."""
    from fuzz_targets import TARGETS

    warnings.simplefilter("error")
    wrong = 0
    for file in files:
        for name in targets or TARGETS:
            try:
                TARGETS[name].check(file.read_bytes(), 1.0, True)
            except Exception:  # shown: that is what a replay is for
                wrong += 1
                print(f"{file} as {name}:\n{traceback.format_exc(limit=-6)}")
    print(f"{len(files)} inputs, {wrong} times something is wrong")
    return int(wrong > 0)


def _in_turn(targets: list[str], seconds: float, slice_s: float, folder: Path, more: list[str]) -> None:
    """Give each target a slice of time after another, until the time is up; so many runs once each."""
    end = time.monotonic() + seconds
    while True:
        for name in targets:
            left_s = min(slice_s, end - time.monotonic())
            if left_s < 1.0:
                return
            _slice(name, left_s, folder, more)
        if more:
            return


def _slice(name: str, seconds: float, folder: Path, more: list[str]) -> None:
    """Run one target in a process of its own and write down what it came to."""
    corpus = folder / name / "corpus"
    _fill(name, corpus)
    command = [
        sys.executable, __file__, "--target", name, "--folder", str(folder), "--inside",
        f"-max_total_time={round(seconds)}", f"-timeout={_SECONDS_AN_INPUT}", f"-rss_limit_mb={_MEGABYTES}",
        f"-max_len={_LONGEST_INPUT}", "-print_final_stats=1", f"-artifact_prefix={folder / name}/stopped-",
        "-reload=0", *more, str(corpus),
    ]  # fmt: skip
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    begun = time.monotonic()
    environment = os.environ | {"OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run(
        command, capture_output=True, text=True, errors="replace", env=environment, check=False
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    (folder / name / "last.txt").write_text(done.stdout + done.stderr)
    told = {key: int(value) for key, value in _STATISTIC.findall(done.stderr)}
    seen = _COVERAGE.findall(done.stderr)
    line = {
        "target": name,
        "utc": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime()),
        "minutes": (time.monotonic() - begun) / 60,
        "cpu_minutes": (after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime) / 60,
        "executions": told.get("number_of_executed_units", 0),
        "coverage": int(seen[-1][0]) if seen else 0,
        "features": int(seen[-1][1]) if seen else 0,
        "corpus": int(seen[-1][2]) if seen else 0,
        "peak_mb": told.get("peak_rss_mb", 0),
        "status": done.returncode,
    }
    with (folder / "runs.jsonl").open("a") as log:
        log.write(json.dumps(line) + "\n")
    print(json.dumps(line), flush=True)
    if not told and done.returncode:
        print(done.stderr[-2000:], file=sys.stderr)


def _fill(name: str, corpus: Path) -> None:
    """Lay the inputs to begin from into an empty corpus."""
    from fuzz_targets import TARGETS

    if corpus.is_dir() and any(corpus.iterdir()):
        return
    corpus.mkdir(parents=True, exist_ok=True)
    for data in TARGETS[name].seeds():
        (corpus / hashlib.sha256(data).hexdigest()[:16]).write_bytes(data)


def _fuzz(name: str, folder: Path, arguments: list[str]) -> None:
    """Be the process that libFuzzer drives; never returns."""
    import atheris

    with atheris.instrument_imports(include=[*_OURS, *_THEIRS], enable_loader_override=False):
        import telemetry.readers  # noqa: F401 - here, so that it is instrumented
    from fuzz_targets import TARGETS

    target = TARGETS[name]
    found = folder / name / "found"
    found.mkdir(parents=True, exist_ok=True)
    warnings.simplefilter("error")

    def check(data: bytes) -> None:
        try:
            target.sampled(data, _SLACK)
        except Exception as error:  # kept, once for each place it comes from; the run goes on
            _keep(error, data, found)

    def mutate(data: bytes, longest: int, seed: int) -> bytes:
        rng = random.Random(seed)
        return target.mutate(data, rng, lambda part: atheris.Mutate(part, longest))[:longest]

    atheris.Setup([sys.argv[0], *arguments], check, custom_mutator=mutate)
    atheris.Fuzz()


def _keep(error: Exception, data: bytes, found: Path) -> None:
    """Keep the shortest input for each place in the code that an exception comes from."""
    frames = traceback.extract_tb(error.__traceback__)
    place = [f"{Path(f.filename).name}:{f.lineno}" for f in frames if "atheris" not in f.filename][-4:]
    digest = hashlib.sha256(" ".join([type(error).__name__, *place]).encode()).hexdigest()[:10]
    file = found / f"{type(error).__name__}-{digest}"
    if not file.exists() or file.stat().st_size > len(data):
        file.write_bytes(data)
        told = traceback.format_exception(type(error), error, error.__traceback__, limit=-8)
        file.with_name(f"{file.name}.txt").write_text("".join(told), errors="replace")


def _summary(folder: Path) -> int:
    """Print what all runs of a folder came to, and what was found."""
    log = folder / "runs.jsonl"
    runs: defaultdict[str, list[dict[str, Any]]] = defaultdict(list)
    for line in log.read_text().splitlines() if log.exists() else []:
        run = json.loads(line)
        runs[run["target"]].append(run)
    print("target     minutes   CPU min  executions  coverage  corpus  peak MB  found")
    wrong = 0
    for name, slices in runs.items():
        found = [f for f in (folder / name / "found").glob("*") if f.suffix != ".txt"]
        stopped = list((folder / name).glob("stopped-*"))
        wrong += len(found) + len(stopped) + sum(run["executions"] == 0 for run in slices)
        sums = [sum(run[key] for run in slices) for key in ("minutes", "cpu_minutes", "executions")]
        most = [max(run[key] for run in slices) for key in ("coverage", "corpus", "peak_mb")]
        print(f"{name:10}{sums[0]:8.1f}{sums[1]:10.1f}{sums[2]:12}", end="")
        print(f"{most[0]:10}{most[1]:8}{most[2]:9}{len(found) + len(stopped):7}")
        for file in found:
            said = file.with_name(f"{file.name}.txt").read_text().strip().splitlines()[-1]
            print(f"    {file}: {said[:200]}")
        for file in stopped:
            print(f"    {file}")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
