"""The passes of an overlay: those that can be chosen, and the chosen ones with their curves."""

from __future__ import annotations

import re
import threading
import weakref
from collections import OrderedDict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from dashboard.session.sessions import Session
from telemetry.analysis import Analysis, Request
from telemetry.core.errors import CallError, ReciprocalError
from telemetry.logbook import Logbook, SavedPass, open_logbook
from telemetry.logbook.importing import PROGRAM_VERSION
from telemetry.pass_overlay import ANCHORS, Abscissa, Anchor, PassCurves, pass_curves
from telemetry.setup import SetupSheet
from telemetry.text.logbook import moment_text

MOST: Final = 10
LISTED: Final = 2000
TAB: Final = "tab"
_KEY: Final = re.compile(rf"({TAB}|\d{{1,9}})\.(P\d{{1,5}})")
_KEPT, _BESIDE, _AT_ONCE = 200, 40, 16


@dataclass(frozen=True, slots=True)
class Offer:
    """A pass that can be chosen.

    Attributes
    ----------
    key : str
        Its name in the address: the outing's number, or ``tab``, and the pass's id.
    group, words : str
        Its origin, and the text that a search looks through.
    heading_deg : float or None
    peak_mps : float
    """

    key: str
    group: str
    words: str
    heading_deg: float | None
    peak_mps: float


@dataclass(frozen=True)
class ChosenPasses:
    """A chosen pass.

    Attributes
    ----------
    key : str
    curves : PassCurves
    origin : str
        Boat and outing, or the log's file.
    boat : str
        Empty if unknown.
    sheet : SetupSheet or None
        None if none is recorded.
    """

    key: str
    curves: PassCurves
    origin: str
    boat: str = ""
    sheet: SetupSheet | None = None


class OverlayClient:
    """A logbook by its address, with the curves of recently chosen passes.

    Parameters
    ----------
    url : str or None
        The logbook's file or URL; None is the user's own.
    """

    def __init__(self, url: str | None = None) -> None:
        self._url = url
        self._lock = threading.Lock()
        self._kept: OrderedDict[tuple[Any, ...], tuple[Callable[[], Any] | None, PassCurves]] = OrderedDict()
        # The page asks for one outing several times at once; the first request analyses it.
        self._making = [threading.Lock() for _ in range(_AT_ONCE)]

    def offers(self, session: Session) -> tuple[tuple[Offer, ...], int]:
        """List the passes of the tab's logs and the latest of the logbook, and count those not listed."""
        analysis = _analysis(session)
        mine = () if analysis is None else tuple(_of_tab(analysis))
        with open_logbook(self._url) as book:
            kept = book.passes(limit=LISTED)
            count = book.count_passes()
        return (*mine, *map(_of_logbook, kept)), count - len(kept)

    def choose(
        self, session: Session, keys: Sequence[str]
    ) -> tuple[tuple[ChosenPasses, ...], tuple[str, ...]]:
        """Fetch passes; each outing is analysed once.

        Returns
        -------
        chosen : tuple of ChosenPasses
            In the order asked for, each once, at most :data:`MOST`.
        refused : tuple of str
            The passes that cannot be shown, and why.
        """
        chosen: dict[str, ChosenPasses] = {}
        refused = []
        for key in list(dict.fromkeys(keys))[:MOST]:
            try:
                chosen[key] = self._one(session, key)
            except ReciprocalError as error:
                refused.append(f"{key}: {error}")
        if len(set(keys)) > MOST:
            refused.append(f"At most {MOST} passes at once: the first {MOST} are shown.")
        return tuple(chosen.values()), tuple(refused)

    def _one(self, session: Session, key: str) -> ChosenPasses:
        named = _KEY.fullmatch(key)
        if named is None:
            raise CallError("this names no pass", hint="choose one from the list")
        place, pass_id = named.groups()
        if place == TAB:
            return self._of_session(session, key, pass_id)
        with open_logbook(self._url) as book:
            return self._of_outing(book, int(place), key, pass_id)

    def _of_session(self, session: Session, key: str, pass_id: str) -> ChosenPasses:
        analysis = _analysis(session)
        if analysis is None:
            hint = 'drop its logs on "After the water", in this tab'
            raise CallError("no log is loaded in this tab", hint=hint)
        curves = self._curves((TAB, id(analysis)), pass_id, lambda: analysis, alive=analysis)
        return ChosenPasses(key, curves, _file_of(analysis, curves.one.log))

    def _of_outing(self, book: Logbook, outing_id: int, key: str, pass_id: str) -> ChosenPasses:
        outing = book.outing(outing_id)
        known = [one.pass_id for one in book.passes(outing_id=outing_id)]
        if pass_id not in known:  # checked without analysing the outing
            raise CallError(f"outing {outing_id} has no pass {pass_id}", hint="choose one from the list")
        # Everything the analysis depends on: a later correction gives other curves.
        shas = tuple(log.sha256 for log in outing.logs)
        state = (str(outing_id), PROGRAM_VERSION, shas, repr(book.asked(outing_id)))
        curves = self._curves(state, pass_id, lambda: book.analysed(outing_id))
        sheet = book.sheet(outing.sheet_id, outing.boat)
        origin = f"{outing.boat}, outing {outing.id}, {moment_text(outing.start_utc)}"
        return ChosenPasses(key, curves, origin, outing.boat, sheet)

    def _curves(
        self,
        state: tuple[Any, ...],
        pass_id: str,
        analysed: Callable[[], Analysis],
        alive: Analysis | None = None,
    ) -> PassCurves:
        """Return a pass's curves from the cache, or compute them, and those of the passes of the same outing.

        Curves of a tab's analysis refer to it weakly, so that the tab can release it.
        """
        with self._making[hash(state) % len(self._making)]:
            found = self._find((*state, pass_id), alive)
            if found is not None:
                return found
            analysis = analysed()
            (wanted,) = pass_curves(analysis, [pass_id])
            others = [p.id for p in analysis.passes if p.id != pass_id][:_BESIDE]
            for one in (*pass_curves(analysis, others), wanted):
                self._keep((*state, one.one.id), one, alive)
        return wanted

    def _find(self, key: tuple[Any, ...], alive: Analysis | None) -> PassCurves | None:
        with self._lock:
            source, curves = self._kept.get(key, (None, None))
            if curves is None or (source is not None and source() is not alive):
                return None
            self._kept.move_to_end(key)
            return curves

    def _keep(self, key: tuple[Any, ...], curves: PassCurves, alive: Analysis | None) -> None:
        with self._lock:
            self._kept[key] = (None if alive is None else weakref.ref(alive), curves)
            self._kept.move_to_end(key)
            while len(self._kept) > _KEPT:
                self._kept.popitem(last=False)


def _analysis(session: Session) -> Analysis | None:
    return session.latest or session.analysis(Request())


def _file_of(analysis: Analysis, log: int) -> str:
    return f"this tab, {Path(analysis.speed_logs[log].cleaned.track.meta.file).name}"


def _of_tab(analysis: Analysis) -> Iterable[Offer]:
    for one in analysis.passes:
        began = "" if one.start_utc is None else f"{one.start_utc:%Y-%m-%d %H:%M:%S}"
        file = _file_of(analysis, one.log).removeprefix("this tab, ")
        words = f"{one.id}, {began or 'day unknown'}, {file}"
        yield Offer(f"{TAB}.{one.id}", "Loaded in this tab", words, one.heading_deg, one.peak_mps)


def _of_logbook(one: SavedPass) -> Offer:
    began = "" if one.start_utc is None else f"{one.start_utc:%H:%M:%S}"
    day = "day unknown" if one.start_utc is None else f"{one.start_utc:%Y-%m-%d}"
    group = f"{one.boat}, outing {one.outing_id}, {day}, {one.sheet_name}"
    words = f"{one.pass_id}, {group}{f', {began}' if began else ''}"
    return Offer(f"{one.outing_id}.{one.pass_id}", group, words, one.heading_deg, one.peak_mps)


def wanted_of(query: dict[str, Any]) -> tuple[tuple[str, ...], Abscissa, Anchor]:
    """Parse the passes and the alignment of an address.

    Examples
    --------
    >>> wanted_of({"pass": "12.P1,tab.P3", "over": "time", "from": "peak"})
    (('12.P1', 'tab.P3'), 'time', 'peak')
    >>> wanted_of({"pass": "12.P1", "over": "no such"})
    (('12.P1',), 'distance', 'take-off')
    """
    names = query.get("pass") or ()
    keys = tuple(key for part in ((names,) if isinstance(names, str) else names) for key in part.split(","))
    abscissa: Abscissa = next((a for a in ("distance", "time", "day") if a == query.get("over")), "distance")
    anchor: Anchor = next((a for a in ANCHORS if a == query.get("from")), "take-off")
    return keys, abscissa, anchor
