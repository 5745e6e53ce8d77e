"""Before and after: did a change help, what more would show it, and what to try next.

Pure statistics over :class:`Evidence`; nothing here knows of logs or of the logbook.
"""

from telemetry.compare.advice import Advice, Stops, Trial
from telemetry.compare.advising import next_trial
from telemetry.compare.comparison import Comparison, compare
from telemetry.compare.confounds import Remark
from telemetry.compare.evidence import Evidence
from telemetry.compare.measures import MEASURES, Measure
from telemetry.compare.past import History, Level, Point, TuneStep, history
from telemetry.compare.planning import Plan
from telemetry.compare.practice import SYMPTOMS, Try
from telemetry.compare.sides import Side, side_of
from telemetry.compare.verdicts import Effect, Group
from telemetry.compare.wording import Units, advice_text, comparison_text, history_text

__all__ = [
    "MEASURES",
    "SYMPTOMS",
    "Advice",
    "Comparison",
    "Effect",
    "Evidence",
    "Group",
    "History",
    "Level",
    "Measure",
    "Plan",
    "Point",
    "Remark",
    "Side",
    "Stops",
    "Trial",
    "Try",
    "TuneStep",
    "Units",
    "advice_text",
    "compare",
    "comparison_text",
    "history",
    "history_text",
    "next_trial",
    "side_of",
]
