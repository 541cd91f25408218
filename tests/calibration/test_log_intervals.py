"""What whole minutes say of a log's line, beside what the model says."""

from __future__ import annotations

import numpy as np
import pytest

from speedcal.calibration.logged.log_intervals import scaled_noise
from speedcal.interval import FloatArray

KNOTS = np.linspace(10.0, 30.0, 9)
LINE = np.column_stack([np.ones(9), KNOTS])
NOISE = 0.03**2 * np.eye(9)
MANY = np.full(2, np.inf)
MODEL = np.linalg.inv(LINE.T @ LINE) * 0.03**2


def _at(covariance: FloatArray, speed: float) -> float:
    """Return the variance of the least-squares line at a speed."""
    weights = np.array([1.0, speed]) @ np.linalg.pinv(LINE)
    return float(weights @ covariance @ weights)


def _factor(covariance: FloatArray) -> float:
    weights = np.linalg.pinv(LINE)[1]
    return float(weights @ covariance @ weights)


@pytest.mark.parametrize("larger", [1.0, 4.0, 9.0])
def test_what_minutes_say_of_the_factor_does_not_widen_the_level(larger: float) -> None:
    """Slopes that differ from minute to minute about 20 m/s: the factor has their variance, 20 m/s hardly more."""
    turn = np.array([-20.0, 1.0])
    minutes = MODEL + (larger - 1) * MODEL[1, 1] * np.outer(turn, turn)
    widened = scaled_noise(NOISE, LINE, model=MODEL, jackknife=minutes, freedom=MANY)
    assert _factor(widened) == pytest.approx(larger * MODEL[1, 1], rel=0.06)
    assert _at(widened, 20.0) < 1.5 * _at(NOISE, 20.0)


def test_minutes_that_say_less_than_the_model_were_lucky_and_more_count_whole() -> None:
    """Three quarters of the model at the least; a level that wanders four times as much as the model says counts."""
    lucky = scaled_noise(NOISE, LINE, model=MODEL, jackknife=0.2 * MODEL, freedom=MANY)
    assert _factor(lucky) == pytest.approx(0.75 * MODEL[1, 1], rel=1e-6)
    level = np.array([[MODEL[0, 0] + 3 * _at(NOISE, 20.0), MODEL[0, 1]], [MODEL[1, 0], MODEL[1, 1]]])
    wandering = scaled_noise(NOISE, LINE, model=MODEL, jackknife=level, freedom=MANY)
    assert _at(wandering, 20.0) > 3.9 * _at(NOISE, 20.0)


@pytest.mark.published(
    "Student's t, 97.5 %: 2.228 at 10 and 2.776 at 4 degrees of freedom (NIST/SEMATECH, from memory)"
)
def test_few_blocks_widen_what_they_tell_as_student_does() -> None:
    """Of ten degrees of freedom for the level and four for the factor: 2.228 and 2.776 in place of 1.960."""
    wide = scaled_noise(NOISE, LINE, model=MODEL, jackknife=MODEL, freedom=np.array([10.0, 4.0]))
    assert _factor(wide) == pytest.approx((2.776 / 1.960) ** 2 * MODEL[1, 1], rel=1e-3)
    assert _at(wide, 20.0) == pytest.approx((2.228 / 1.960) ** 2 * _at(NOISE, 20.0), rel=1e-3)
