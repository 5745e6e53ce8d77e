"""Cache results that depend only on the number of samples."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Generic, TypeVar

# Enough for a pass of two minutes at 64 samples a second. Receivers do not log faster, denser logs each have
# a step of their own, and their results would fill megabytes without ever being used again.
_LARGEST_KEPT = 8192

_T = TypeVar("_T")


class SizeCache(Generic[_T]):
    """Cache a function of a size, for the sizes of usual logs, so that their passes share the result.

    Attributes
    ----------
    remembered : callable
        The cached function, for sizes up to the largest.
    """

    def __init__(self, make: Callable[..., _T], maxsize: int, largest: int = _LARGEST_KEPT) -> None:
        self.remembered = lru_cache(maxsize)(make)
        self._make, self._largest = make, largest

    def __call__(self, size: int, *more: float) -> _T:
        """Compute the result, or return it from the cache."""
        return self.remembered(size, *more) if size <= self._largest else self._make(size, *more)
