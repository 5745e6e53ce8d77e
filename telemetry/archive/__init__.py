"""Thousands of logs analysed again, on this machine or on a cluster, and gone on with after a kill.

::

    items     what lies in a folder: outings and single logs
    work      one of them analysed: bytes in, bytes out, the same wherever it runs
    local     spread over processes of this machine
    cluster   spread over the workers of a Dask scheduler
    results   what is finished, a file each, found again by its content
    table     one row for each
    run       all of these in order
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
