"""Batch analysis of thousands of logs, on this machine or on a cluster, that continues after a kill.

::

    discover      what a folder holds: outings and single logs
    worker        analyse one item: bytes in, bytes out, the same anywhere
    process_pool  spread over processes of this machine
    cluster       spread over the workers of a Dask scheduler
    results       finished results, one file each, found again by their content
    table         the summary, one row for each item
    run           all of these in order
"""

from telemetry.archive.cluster import cluster_engine
from telemetry.archive.discover import ArchiveContents, ArchiveItem, find_items
from telemetry.archive.process_pool import process_engine
from telemetry.archive.run import Summary, analyse_archive
from telemetry.archive.worker import Engine

__all__ = [
    "ArchiveContents",
    "ArchiveItem",
    "Engine",
    "Summary",
    "analyse_archive",
    "cluster_engine",
    "find_items",
    "process_engine",
]
