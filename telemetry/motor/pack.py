"""Estimate a battery pack's resistance and its voltage at rest.

Voltage at the controller is regressed on current and on the charge already drawn, over the whole log,

    V = V0 - R I - a q - b q²,

so that the pack's discharge is not taken for resistance. A logged current is itself noisy, which biases the
R of an ordinary regression towards zero; the mean of the two neighbouring currents carries the same load and
none of the sample's own noise, and is used as the instrument.

References
----------
.. [1] W. A. Fuller, Measurement Error Models, Wiley 1987, section 1.4 (instrumental variables).
.. [2] K.-Y. Liang, S. L. Zeger, Biometrika 73 (1986), doi:10.1093/biomet/73.1.13 (clustered variance).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import stdtrit

from telemetry.core.frames import FloatArray
from telemetry.motor.channels import Channels

_CLUSTER_S = 1.0
_MIN_RANGE_A = 5.0
_LOAD_SHARE = 0.1
_MIN_SAMPLES = 40
_MIN_CLUSTERS = 4.0


@dataclass(frozen=True, kw_only=True)
class PackEstimate:
    """Estimate of a pack from its log; half-widths are of 95 % intervals.

    Attributes
    ----------
    resistance_ohm, u95_ohm : float
        Between the cells' rest voltage and where the voltage is measured; leads and plugs are included.
    cell_resistance_ohm : float or None
        The same per cell; None if the number of cells is not given.
    rest_voltage_v, rest_u95_v : float
        Without load and before any charge is drawn in this log.
    coefficients : ndarray, shape (4,)
        V0, R (sign reversed), a, b of the module's equation, volts, ohms, V/(A h), V/(A h)².
    covariance : ndarray, shape (4, 4)
        Of the coefficients.
    samples : int
        Number of samples under load that were used.
    """

    resistance_ohm: float
    u95_ohm: float
    cell_resistance_ohm: float | None
    rest_voltage_v: float
    rest_u95_v: float
    coefficients: FloatArray
    covariance: FloatArray
    samples: int

    def rest_v(self, drawn_ah: float) -> float:
        """Return the voltage without load after a charge has been drawn [V]."""
        return float(self.coefficients @ [1.0, 0.0, drawn_ah, drawn_ah**2])

    def to_dict(self) -> dict[str, Any]:
        """Return the output contract's form."""
        return {
            "pack_resistance_ohm": self.resistance_ohm,
            "u95_ohm": self.u95_ohm,
            "cell_resistance_ohm": self.cell_resistance_ohm,
            "rest_voltage_v": self.rest_voltage_v,
            "rest_voltage_u95_v": self.rest_u95_v,
            "samples": self.samples,
        }


def estimate_pack(log: Channels, cells: int | None = None) -> PackEstimate | str:
    """Regress voltage on current and charge.

    Parameters
    ----------
    log : Channels
        Channels of a whole motor log.
    cells : int, optional
        Number of cells in series.

    Returns
    -------
    PackEstimate or str
        The reason in a sentence if the log cannot answer. The interval covers the log's scatter; a wrong
        scale of the current or voltage sensor is not in it.
    """
    if log.voltage_v is None or log.current_a is None or log.drawn_ah is None:
        return "pack resistance needs voltage and current in the motor log"
    v, i, q = log.voltage_v, log.current_a, log.drawn_ah
    beside = np.full(i.size, np.nan)
    beside[1:-1] = 0.5 * (i[2:] + i[:-2])
    sound = np.isfinite(v) & np.isfinite(i) & np.isfinite(beside)
    if not sound.any():
        return "voltage and current are never logged together"
    # Selected by the neighbours, so that the selection does not depend on the sample's own noise. At rest a
    # current sensor is clipped at zero, and its error is not noise any more.
    use = sound & (beside > _LOAD_SHARE * float(np.max(beside[sound])))
    if int(use.sum()) < _MIN_SAMPLES or float(np.ptp(beside[use])) < _MIN_RANGE_A:
        return "the current hardly changes, so the resistance cannot be separated from the pack's voltage"
    one = np.ones(int(use.sum()))
    charge = q[use]
    regressors = np.column_stack([one, i[use], charge, charge**2])
    instruments = np.column_stack([one, beside[use], charge, charge**2])
    scale = np.maximum(np.abs(regressors).max(axis=0), 1e-12)
    inverse = np.linalg.pinv((instruments / scale).T @ (regressors / scale))
    theta = inverse @ ((instruments / scale).T @ v[use])
    residual = v[use] - (regressors / scale) @ theta
    place = ((log.t_s[use] - log.t_s[0]) // _CLUSTER_S).astype(np.int64)
    scores = np.zeros((int(place.max()) + 1, 4))
    np.add.at(scores, place, instruments / scale * residual[:, None])
    count = _effective(instruments, place)
    if count < _MIN_CLUSTERS:
        return "the motor log holds too few separate stretches under load for an interval of the resistance"
    covariance = inverse @ (scores.T @ scores) @ inverse.T * count / (count - 1.0)
    theta, covariance = theta / scale, covariance / np.outer(scale, scale)
    wide = float(stdtrit(count - 1.0, 0.975))
    resistance = -float(theta[1])
    u95 = wide * float(np.sqrt(covariance[1, 1]))
    if resistance <= u95:
        return "the voltage does not fall with current: two columns may be mixed up"
    return PackEstimate(
        resistance_ohm=resistance,
        u95_ohm=u95,
        cell_resistance_ohm=None if cells is None else resistance / cells,
        rest_voltage_v=float(theta[0]),
        rest_u95_v=wide * float(np.sqrt(covariance[0, 0])),
        coefficients=theta,
        covariance=covariance,
        samples=int(use.sum()),
    )


def _effective(instruments: FloatArray, place: FloatArray) -> float:
    """Effective number of clusters, by their information on the resistance."""
    rest = np.delete(instruments, 1, axis=1)
    current = instruments[:, 1]
    own = current - rest @ np.linalg.lstsq(rest, current, rcond=None)[0]
    weight = np.bincount(place, own**2)
    return float(weight.sum() ** 2 / np.sum(weight**2))
