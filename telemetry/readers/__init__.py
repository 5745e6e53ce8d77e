"""One file a format, chosen by content through one registry."""

from telemetry.readers.base import LogReader, ReadOptions

__all__ = ["LogReader", "ReadOptions"]
