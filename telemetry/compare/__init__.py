"""Before and after: did a change help, what more would show it, and what to try next.

Pure statistics over :class:`Evidence`; nothing here knows of logs or of the logbook.
"""

from telemetry.compare.evidence import Evidence
from telemetry.compare.measures import MEASURES, Measure

__all__ = ["MEASURES", "Evidence", "Measure"]
