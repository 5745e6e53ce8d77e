"""A few seconds of mutation for each target: what the long run does, without its guide."""

from __future__ import annotations

import random
import time

import pytest
from fuzz_bytes import changed
from fuzz_targets import TARGETS, Target

INPUTS = 200
MAX_SECONDS = 2.5  # of processor time; a slow machine sees fewer inputs, not a longer test


@pytest.mark.parametrize("target", TARGETS.values(), ids=TARGETS)
def test_where_the_fuzzer_begins_everything_holds(target: Target) -> None:
    for data in target.seeds():
        target.check(data, 3.0, False)


@pytest.mark.parametrize("target", TARGETS.values(), ids=TARGETS)
def test_whatever_is_changed_everything_holds(target: Target) -> None:
    rng = random.Random(20_250_614)
    pool = target.seeds()
    end = time.process_time() + MAX_SECONDS
    for _ in range(INPUTS):
        data = rng.choice(pool)
        for _ in range(rng.choice((1, 1, 2, 3))):
            data = target.mutate(data, rng, lambda part: changed(part, rng))
        data = data[:16_384]
        try:
            target.sampled(data, 3.0)
        except Exception as error:
            error.add_note(f"as {target.name}: {data!r}")
            raise
        if time.process_time() > end:
            return
        pool.append(data) if rng.random() < 0.1 else None
