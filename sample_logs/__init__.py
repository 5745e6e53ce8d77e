"""Sample logs of an invented lake, the simulator they come from, and where they lie.

The files in ``data`` are described in ``sample_logs/README.md``; ``python -m sample_logs.generate`` writes
them again. Tests and benchmarks draw as many further outings as they need from :mod:`sample_logs.simulator`.
"""

from pathlib import Path

__all__ = ["data_folder"]


def data_folder() -> Path:
    """Return the folder of the sample logs."""
    return Path(__file__).resolve().parent / "data"
