"""What is made for a size of log once and asked for by every pass of it."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Generic, TypeVar

# What a pass of two minutes at 64 samples a second needs. Denser logs are not made by receivers, each has a
# step of its own, and what is kept for them would be megabytes that nobody asks for again.
_LARGEST_KEPT = 8192

_T = TypeVar("_T")


class SizeCache(Generic[_T]):
    """Remember what a function of a size makes, for the sizes of usual logs: their passes share it.

    Attributes
    ----------
    remembered : callable
        The function with its cache, for sizes up to the largest.
    """

    def __init__(self, make: Callable[..., _T], maxsize: int, largest: int = _LARGEST_KEPT) -> None:
        self.remembered = lru_cache(maxsize)(make)
        self._make, self._largest = make, largest

    def __call__(self, size: int, *more: float) -> _T:
        """Make it, or remember it."""
        return self.remembered(size, *more) if size <= self._largest else self._make(size, *more)
