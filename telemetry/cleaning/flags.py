"""Quality flags of samples: what is excluded and why, and what a person restores."""

from __future__ import annotations

import numpy as np

from telemetry.cleaning.corrections import RESTORABLE, RESTORED, ByHand, in_stretches, with_reason
from telemetry.core.frames import BoolArray, Finding, Track, true_runs


class SampleFlags:
    """Collects flags on samples with the reason of each.

    Parameters
    ----------
    track : Track
        Strictly increasing in time.
    by_hand : ByHand
        Samples that a person restored are reported as restored, and used in the end; see :meth:`give_back`.

    Attributes
    ----------
    code : ndarray of object, shape (n,)
        The first reason why each sample was excluded; empty if it was not.
    speed_ok, position_ok : ndarray of bool, shape (n,)
    false, sure : ndarray of bool, shape (n,)
        Speeds found false, and those that the positions confirm.
    findings : list of Finding
    """

    def __init__(self, track: Track, by_hand: ByHand) -> None:
        self.t_s = track.t_s
        self.by_hand = by_hand
        self.real = in_stretches(self.t_s, by_hand.restored)
        self.code = np.full(self.t_s.size, "", dtype=object)
        self.speed_ok = np.ones(self.t_s.size, dtype=np.bool_)
        self.position_ok = np.ones(self.t_s.size, dtype=np.bool_)
        self.false = np.zeros(self.t_s.size, dtype=np.bool_)
        self.sure = np.zeros(self.t_s.size, dtype=np.bool_)
        self.findings: list[Finding] = []

    def reject(self, bad: BoolArray, code: str, text: str, *, speed: bool, position: bool) -> None:
        """Exclude samples; one finding for each run of neighbours, so that it has a place in time.

        Parameters
        ----------
        bad : ndarray of bool, shape (n,)
            Samples to exclude.
        code, text : str
            Code and message of the findings.
        speed, position : bool
            Whether their speeds, and their positions, are excluded.
        """
        bad = bad & ((self.speed_ok & speed) | (self.position_ok & position))
        if not bad.any():
            return
        self.speed_ok &= ~(bad & speed)
        self.position_ok &= ~(bad & position)
        self.false |= bad & (code == "false-spike")
        self.code[bad & (self.code == "")] = code
        back = self._restored(bad)
        for a, b in true_runs(bad & ~back):
            self.findings.append(Finding(code, text, b - a, float(self.t_s[a]), float(self.t_s[b - 1])))
        for a, b in true_runs(back):
            span = float(self.t_s[a]), float(self.t_s[b - 1])
            why = next(r.why for r in self.by_hand.restored if in_stretches(self.t_s[a:b], [r]).any())
            said = f"{text.partition(':')[0]} ({code}); restored by hand as real{with_reason(why)}"
            self.findings.append(Finding(RESTORED, said, b - a, *span))

    def set_aside(self, bad: BoolArray, code: str) -> None:
        """Exclude samples completely that have a finding already."""
        self.speed_ok &= ~bad
        self.position_ok &= ~bad
        self.code[bad] = code

    def _restored(self, bad: BoolArray) -> BoolArray:
        return np.asarray(bad & self.real & np.isin(self.code, RESTORABLE), dtype=np.bool_)

    def give_back(self, has_speed: BoolArray, has_position: BoolArray) -> None:
        """Use the samples that a person restored; all other samples are judged as without them."""
        back = self._restored(np.ones_like(self.real))
        self.speed_ok |= back & has_speed
        self.position_ok |= back & has_position
        self.code[back] = ""
        for one in self.by_hand.restored:
            if not (in_stretches(self.t_s, [one]) & back).any():
                said = f"restored by hand, {one.start_s:.2f} to {one.end_s:.2f} s: nothing was excluded there"
                self.findings.append(Finding(RESTORED, said, 0, one.start_s, one.end_s))
