"""Slip, load, resistance and propeller law against published numbers; regressions against statsmodels.

Sources are named beside each check; "computed" means worked from the definition.
"""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.stats import linregress
from statsmodels.sandbox.regression.gmm import IV2SLS

from sample_logs.boats import CATAMARAN
from sample_logs.outing import simulate_outing
from telemetry.cleaning.clean import clean
from telemetry.core.frames import FloatArray, LogMeta, make_motor_log
from telemetry.core.geo import LocalFrame
from telemetry.core.units import INCH_MM, KMH_MPS, KNOT_MPS, MPH_MPS
from telemetry.kinematics.whole_log import Motion, smooth_log
from telemetry.motor.channels import channels
from telemetry.motor.pack import PackEstimate, estimate_pack
from telemetry.motor.power import PassPower, PowerOptions, power_report
from telemetry.motor.sync.clock import MotorClock
from telemetry.motor.sync.speed_steps import integrate_drive, speed_steps
from telemetry.motor.sync.surge_model import FORCE_DENSITY, SurgeProblem
from telemetry.motor.what_if import OperatingPoint, PowerTrainChange, operating_point, what_if
from telemetry.passes.find import Pass

CLOCK = MotorClock(
    offset_s=0.0, drift_ppm=0.0, u95_s=0.0, method="given", trusted=True, why="", start_s=0.0, end_s=100.0
)


def steady(
    speed_mps: float, rpm: float, options: PowerOptions, volts: float = 20.0, amps: float = 100.0
) -> PassPower:
    """One steady pass at the given figures."""
    t_s = np.arange(1000) / 10.0
    on = np.interp(t_s, [18, 20, 32, 33], [0.0, 1.0, 1.0, 0.0])
    still = np.zeros(t_s.size)
    motion = Motion(
        LocalFrame(38.5, -36.25), t_s, speed_mps * on, still, still, still, still, False, 0.05, 0.5
    )
    motor = make_motor_log(
        {
            "rpm": rpm * on,
            "voltage_v": volts + 0.02 * amps * (1 - on),
            "current_a": amps * on,
            "throttle_pct": 100 * on,
        },
        t_s,
        LogMeta("m", "table"),
    )
    held = (speed_mps, 0.1)
    ridden = Pass(
        "P1", 0, 20.0, 32.0, None, None, 90.0, 12.0 * speed_mps, speed_mps, 0.1, 24.0, *held, (), None, ()
    )
    (one,) = power_report(motor, CLOCK, (ridden,), motion, options).passes
    return one


# Theoretical speed is rpm x pitch [in] / 1056 mph (exact), / 1215.223 kn, / 656.168 km/h (computed).
@pytest.mark.parametrize(
    ("divisor", "unit_mps"), [(1056.0, MPH_MPS), (1215.223, KNOT_MPS), (656.168, KMH_MPS)]
)
def test_no_slip_is_the_theoretical_speed(divisor: float, unit_mps: float) -> None:
    pitch_in, rpm = 2.5, 24000.0
    one = steady(rpm * pitch_in / divisor * unit_mps, rpm, PowerOptions(pitch_mm=pitch_in * INCH_MM))
    assert one.slip == pytest.approx(0.0, abs=1e-6)


def test_a_ten_inch_pitch_that_advances_eight_and_a_half_slips_fifteen_percent() -> None:
    # Mercury Racing, prop school 6.
    rpm = 9000.0
    one = steady(8.5 * INCH_MM / 1000.0 * rpm / 60.0, rpm, PowerOptions(pitch_mm=10.0 * INCH_MM))
    assert one.slip == pytest.approx(0.15, abs=1e-9)


def test_a_usual_boat() -> None:
    # Computed: 45 mm at 1.4 is 63.0 mm; 1600 rpm/V x 22.2 V x 0.80 = 28 416 rpm, theoretical 29.837 m/s;
    # 60.0 mph is 10.1 % slip, 15 % slip is 56.73 mph.
    pitch_mm, rpm = 45.0 * 1.4, 1600.0 * 22.2 * 0.80
    assert pitch_mm == pytest.approx(63.0)
    assert rpm == pytest.approx(28416.0)
    options = PowerOptions(pitch_mm=pitch_mm, kv_rpm_per_v=1600.0)
    fast = steady(60.0 * MPH_MPS, rpm, options, volts=22.2)
    assert fast.slip == pytest.approx(0.101, abs=5e-4)
    assert fast.rpm_share == pytest.approx(0.80)
    slower = steady(56.73 * MPH_MPS, rpm, options, volts=22.2)
    assert slower.slip == pytest.approx(0.15, abs=1e-4)


def test_resistance_from_two_loads() -> None:
    # (14.8 - 13.7) / (85 - 5) = 0.01375 ohm (a model boating forum's worked example).
    t_s = np.arange(4000) / 20.0
    amps = np.where((t_s // 10) % 2 == 0, 85.0, 5.0)
    # Charge drawn changes nothing here: the example has none.
    log = make_motor_log(
        {"voltage_v": np.where(amps > 50, 13.7, 14.8), "current_a": amps + 4.0}, t_s, LogMeta("m", "table")
    )
    pack = estimate_pack(channels(log))
    assert isinstance(pack, PackEstimate)
    assert pack.resistance_ohm == pytest.approx(0.01375, rel=0.01)


def test_sag_and_heat_of_six_cells() -> None:
    # Computed: 6 cells x 3 mohm at 150 A are 2.7 V of sag and 405 W of heat.
    point = OperatingPoint(
        28000.0, 150.0, 26.0, 25.2, 6 * 0.003, 0.0, 0.008, 0.0, 4.0, 0.0, 45.0, 63.0, 6, 1600.0, 0.0, ()
    )
    same = what_if(point, PowerTrainChange())
    assert same.pack_heat_w is not None
    assert same.pack_heat_w.value == pytest.approx(405.0)
    assert 25.2 - same.pack_heat_w.value / 150.0 == pytest.approx(25.2 - 2.7)


def test_power_goes_with_the_cube_of_shaft_speed() -> None:
    # Gerr's handbook: +10 % rpm is x1.331 in the ideal, x1.293 with the average exponent 2.7. A motor whose
    # constant is raised until the shaft turns 10 % faster, all losses left out, must take that power.
    point = OperatingPoint(
        28000.0, 100.0, 26.0, 25.0, 1e-9, 0.0, 1e-9, 0.0, 1e-9, 0.0, 45.0, 63.0, 6, 1600.0, 0.0, ()
    )
    faster = what_if(point, PowerTrainChange(kv_rpm_per_v=1760.0))
    assert faster.rpm is not None
    assert faster.current_a is not None
    assert faster.rpm.value / 28000.0 == pytest.approx(1.1, rel=1e-6)
    assert faster.current_a.value / 100.0 == pytest.approx(1.331, rel=1e-3)
    assert faster.current_a.u95 / 100.0 > 1.331 - 1.293  # the average exponent lies inside the interval


def noisy_pack(seed: int) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    rng = np.random.default_rng(seed)
    t_s = np.arange(4000) / 20.0
    true_a = 90.0 + 60.0 * np.sin(t_s / 1.3) + 20.0 * np.sin(t_s / 0.41)
    drawn_ah = np.cumsum(true_a) / 20.0 / 3600.0
    volts = 25.0 - 0.02 * true_a - 0.7 * drawn_ah + 0.03 * rng.standard_normal(t_s.size)
    return t_s, true_a + 3.0 * rng.standard_normal(t_s.size), drawn_ah, volts


def test_the_regression_is_two_stage_least_squares_as_statsmodels_has_it() -> None:
    t_s, amps, drawn_ah, volts = noisy_pack(1)
    log = make_motor_log(
        {"voltage_v": volts, "current_a": amps, "charge_mah": 1000.0 * (drawn_ah - drawn_ah[0])},
        t_s,
        LogMeta("m", "table"),
    )
    own = estimate_pack(channels(log))
    assert isinstance(own, PackEstimate)
    beside = np.r_[np.nan, 0.5 * (amps[2:] + amps[:-2]), np.nan]
    use = np.isfinite(beside) & (beside > 0.1 * np.nanmax(beside))
    q = (drawn_ah - drawn_ah[0])[use]
    x = np.column_stack([np.ones(q.size), amps[use], q, q**2])
    z = np.column_stack([np.ones(q.size), beside[use], q, q**2])
    reference = IV2SLS(volts[use], x, z).fit()
    np.testing.assert_allclose(own.coefficients, reference.params, rtol=1e-6)
    # Independent noise: the clustered interval is near the classical one.
    assert own.covariance[1, 1] ** 0.5 == pytest.approx(float(reference.bse[1]), rel=0.25)


def test_ordinary_regression_would_be_pulled_to_zero_and_ours_is_not() -> None:
    own, plain = [], []
    for seed in range(40):
        t_s, amps, drawn_ah, volts = noisy_pack(seed)
        log = make_motor_log({"voltage_v": volts, "current_a": amps}, t_s, LogMeta("m", "table"))
        pack = estimate_pack(channels(log))
        assert isinstance(pack, PackEstimate)
        own.append(pack.resistance_ohm)
        plain.append(-linregress(amps, volts + 0.7 * drawn_ah).slope)
    expected_pull = 9.0 / (9.0 + np.var(90.0 + 60.0 * np.sin(t_s / 1.3) + 20.0 * np.sin(t_s / 0.41)))
    assert np.mean(plain) / 0.02 - 1.0 == pytest.approx(-expected_pull, rel=0.25)
    assert abs(np.mean(own) / 0.02 - 1.0) < 0.3 * expected_pull


def test_the_surge_fit_is_generalised_least_squares_as_statsmodels_has_it() -> None:
    outing = simulate_outing(3, boat=CATAMARAN)
    cleaned = clean(outing.track)
    rpm = outing.motor.column("rpm")
    assert rpm is not None
    inc = speed_steps(cleaned, smooth_log(cleaned, outing.truth.frame))
    problem = SurgeProblem(inc, integrate_drive(outing.motor.t_s, rpm)).within(40.0, 90.0)
    fit = problem.at(outing.motor_clock.offset_s, 0.0)
    assert fit is not None
    part = problem.inc
    covariance = np.diag(FORCE_DENSITY * part.span_s + 2.0 * part.noise_var)
    shared = np.where(part.joined == 1, -part.noise_var, 0.0)
    covariance += np.diag(shared, 1) + np.diag(shared, -1)
    reference = sm.GLS(part.rise_mps, fit.forces, sigma=covariance).fit()
    np.testing.assert_allclose(fit.coefficients, reference.params, rtol=1e-4, atol=1e-4)
    assert fit.unexplained == pytest.approx(float(reference.ssr), rel=1e-5)


def test_an_operating_point_needs_its_figures() -> None:
    one = steady(26.0, 28000.0, PowerOptions(pitch_mm=63.0))
    pack = estimate_pack(channels(make_motor_log({"rpm": [1.0, 2.0]}, [0.0, 1.0], LogMeta("m", "table"))))
    assert isinstance(pack, str)
    told = operating_point(one, None, PowerOptions(pitch_mm=63.0, diameter_mm=45.0))
    assert isinstance(told, str)
    assert "resistance" in told
