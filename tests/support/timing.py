"""Times of two tasks, taken fairly."""

from __future__ import annotations

import time
from collections.abc import Callable


def least(first: Callable[[], object], second: Callable[[], object], rounds: int) -> tuple[float, float]:
    """Take the smallest time of each of two tasks run alternately [s]: a busy machine falls on both."""
    times: tuple[list[float], list[float]] = ([], [])
    for _ in range(rounds):
        for task, taken in zip((first, second), times, strict=True):
            begun = time.perf_counter()
            task()
            taken.append(time.perf_counter() - begun)
    return min(times[0]), min(times[1])
