"""Before and after: did a change help, what more would show it, and what to try next.

Pure statistics over :class:`Evidence`; nothing here knows of logs or of the logbook.
"""

from telemetry.compare.comparison import Comparison, compare
from telemetry.compare.confounds import Remark
from telemetry.compare.evidence import Evidence
from telemetry.compare.measures import MEASURES, Measure
from telemetry.compare.planning import Plan
from telemetry.compare.verdicts import Effect, Group

__all__ = ["MEASURES", "Comparison", "Effect", "Evidence", "Group", "Measure", "Plan", "Remark", "compare"]
