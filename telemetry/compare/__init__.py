"""Before and after: did a change help, what more would show it, and what to try next.

Pure statistics over :class:`Evidence`; nothing here knows of logs or of the logbook.
"""

from telemetry.compare.advice import Advice, Stops, Trial
from telemetry.compare.comparison import Comparison, compare
from telemetry.compare.confounders import Remark
from telemetry.compare.evidence import Evidence
from telemetry.compare.groups import Side, side_of
from telemetry.compare.history import History, Level, Point, TuneStep, boat_history
from telemetry.compare.measures import MEASURES, Measure
from telemetry.compare.planning import Plan, Plans
from telemetry.compare.recommend import next_trial
from telemetry.compare.rules_of_thumb import SYMPTOMS, Try
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
    "Plans",
    "Point",
    "Remark",
    "Side",
    "Stops",
    "Trial",
    "Try",
    "TuneStep",
    "Units",
    "advice_text",
    "boat_history",
    "compare",
    "comparison_text",
    "history_text",
    "next_trial",
    "side_of",
]
