"""Times that are written down late, by others each time: one slow hand or two watches."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import speedcal
from speedcal.calibration.curve import driven_points
from speedcal.calibration.dial import Dial
from speedcal.calibration.measured import MeasuredLine, told_by_dial
from speedcal.calibration.result import Calibration
from speedcal.calibration.rival_odds import SECOND_READER
from speedcal.calibration.slow_hand import with_slow_hand
from speedcal.calibration.tuning import SLOW_HAND_ODDS
from speedcal.finding import Finding
from speedcal.interval import FloatArray
from speedcal.simulate import simulate
from speedcal.units import MPH_MPS

SPEEDS = np.linspace(10, 25, 12)


def _line(*, doubt: float, log_evidence: float, second_mps2: float, doubted: bool) -> MeasuredLine:
    dial = Dial.straight(0.0, 1.05, 1e-4 * np.eye(2), used_mps=driven_points(SPEEDS), degrees_of_freedom=np.inf)
    line = told_by_dial(
        dial,
        clock_offset_s=0.0,
        u_clock_offset_s=1.0,
        scatter_mps=0.3,
        time_s=30 * np.arange(12.0),
        ground_mps=SPEEDS,
        reason=np.full(12, ""),
        reasons=(Finding("two_readers", log_odds=doubt),) if doubted else (),
    )
    second = np.full((len(dial.knots_mps),) * 2, second_mps2)
    return replace(line, doubt=doubt, log_evidence=log_evidence, habits={SECOND_READER: second})


@pytest.mark.parametrize(
    ("usual_doubt", "slow_doubt", "log_odds", "slow"),
    [
        (1.0, -2.0, 2.0, True),  # ln((e^1 + e^0) / (1 + e^2)) = -0.81: no doubt is left
        (1.0, -2.0, -0.1, False),  # the usual hand is likelier
        (1.0, 0.5, 2.0, False),  # two watches are as likely for a slow hand
        (3.0, -1.0, 2.0, False),  # ln((e^3 + e^1) / (1 + e^2)) = 1.0
    ],
)
def test_two_watches_are_held_against_either_hand(
    usual_doubt: float, slow_doubt: float, log_odds: float, slow: bool
) -> None:
    usual = _line(doubt=usual_doubt, log_evidence=20.0, second_mps2=0.1, doubted=True)
    evidence = 20.0 + log_odds - float(np.log(SLOW_HAND_ODDS))
    other = _line(doubt=slow_doubt, log_evidence=evidence, second_mps2=0.02, doubted=False)
    told = with_slow_hand(lambda _: other, usual)
    assert bool(told.reasons) is not slow
    if slow:  # the hand is the usual one with 1 in 1 + e^2
        expected = 0.02 + 0.1 / (1 + np.exp(log_odds))
        assert told.habits[SECOND_READER] == pytest.approx(expected)
        assert told.dial is not None
        assert other.dial is not None
        beside = told.dial.knot_covariance - other.dial.knot_covariance
        assert beside == pytest.approx(expected - 0.02, abs=1e-9)


def test_notes_without_doubt_and_those_beyond_it_are_not_fitted_twice() -> None:
    def fit(_: float) -> MeasuredLine:
        raise AssertionError

    for doubt, doubted in ((-3.0, False), (9.0, True)):
        line = _line(doubt=doubt, log_evidence=20.0, second_mps2=0.1, doubted=doubted)
        assert with_slow_hand(fit, line) is line


def _at_50(seed: int, late_s: FloatArray, aside_mph: FloatArray) -> tuple[Calibration, bool]:
    """Return notes that are so late and seen so much aside, and whether they hold what is true at 50 mph."""
    drive = simulate("noted", [86, seed])
    count, at = len(drive.readings), 50 * MPH_MPS
    time = drive.readings.time_s + late_s[:count]
    speed = drive.readings.speed_mps + aside_mph[:count] * MPH_MPS
    result = speedcal.calibrate(drive.track, replace(drive.readings, time_s=time, speed_mps=speed))
    off = float(result.indicated(at)) - drive.truth.offset_mps - drive.truth.error_factor * at
    return result, abs(off) < float(result.half_width(at))


def test_notes_that_are_late_by_other_seconds_each_time_are_mostly_trusted_and_hold() -> None:
    """0 to 12 s late: two in three are trusted (without a slow hand half), and 14 of 16 hold, as 95 % mostly do."""
    some = [_at_50(k, np.random.default_rng(k).uniform(0, 12, 60), np.zeros(60)) for k in range(16)]
    assert sum(str(result.trust) == "TRUSTED" for result, _ in some) >= 11
    assert sum(held for _, held in some) >= 14


def test_two_watches_are_no_slow_hand() -> None:
    """Turn by turn, 10 s apart, one seen 1 mph aside."""
    second = (np.arange(60) % 2).astype(float)
    some = [_at_50(k, 10 * second, second)[0] for k in range(8)]
    assert sum("two_readers" in result.trust.codes for result in some) >= 7
