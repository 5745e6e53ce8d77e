"""Memory of the arrays and tables of results."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields, is_dataclass

import numpy as np
import pandas as pd


def held_bytes(*things: object) -> int:
    """Sum the arrays, tables and bytes in dataclasses and containers, each counted once [byte].

    Examples
    --------
    >>> one = np.zeros(1000)
    >>> held_bytes((one, one), [b"1234"])
    8004
    """
    seen: set[int] = set()
    total = 0
    left: list[object] = list(things)
    while left:
        thing = left.pop()
        if id(thing) in seen or isinstance(thing, str | int | float | None):
            continue
        seen.add(id(thing))
        if isinstance(thing, np.ndarray):
            total += thing.nbytes
        elif isinstance(thing, bytes):
            total += len(thing)
        elif isinstance(thing, pd.DataFrame):
            total += int(thing.memory_usage(index=True).sum())
        else:
            left += _inside(thing)
    return total


def _inside(thing: object) -> Iterable[object]:
    if isinstance(thing, dict):
        return thing.values()
    if isinstance(thing, list | tuple | set | frozenset):
        return thing
    if is_dataclass(thing):
        return [getattr(thing, one.name) for one in fields(thing)]
    return getattr(thing, "__dict__", {}).values()
