"""A needle that lags shows more than the speed before bends, where vehicles slow: no receiver cut them for that."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.roads import START_S, readings_as_shown, track_along

import speedcal
from speedcal.units import MPH_MPS

_STEP_S, _FACTOR, _LAG_S = 0.1, 1.03, 1.5


@pytest.mark.parametrize("seed", range(3))
def test_a_needle_that_lags_does_not_make_a_receiver_cut_bends(seed: int) -> None:
    """Right angles at 6 m/s between straights at 11 to 20, lag 1.5 s: held, where readings were 0.1 mph low."""
    rng = np.random.default_rng(seed)
    wanted, turning = [], []
    for fast in rng.uniform(11.0, 20.0, 40):
        straight, bend = round(rng.uniform(14.0, 26.0) / _STEP_S), round(rng.uniform(4.0, 5.0) / _STEP_S)
        slows = round((fast - 6.0) / 1.6 / _STEP_S)
        wanted += [np.full(straight, fast), np.linspace(fast, 6.0, slows), np.full(bend, 6.0)]
        turning += [np.zeros(straight + slows), np.full(bend, rng.choice([-1, 1]) * np.pi / 2 / (bend * _STEP_S))]
    speed = np.zeros(sum(map(len, wanted)))
    for k, want in enumerate(np.concatenate(wanted)[1:], 1):  # pulls away at 1.5 m/s2 at the most
        speed[k] = min(want, speed[k - 1] + 1.5 * _STEP_S)
    heading = np.cumsum(np.concatenate(turning)) * _STEP_S
    shown = np.zeros_like(speed)
    for k in range(1, len(speed)):
        shown[k] = shown[k - 1] + (_FACTOR * speed[k] - shown[k - 1]) * -np.expm1(-_STEP_S / _LAG_S)
    each = slice(None, None, 10)
    time_s = np.arange(len(speed))[each] * _STEP_S
    east, north = (np.cumsum(speed * of(heading))[each] * _STEP_S for of in (np.sin, np.cos))
    track = track_along(time_s, *(place + rng.normal(0, 0.1, len(place)) for place in (east, north)))
    track = replace(track, speed_mps=np.abs(speed[each] + rng.normal(0, 0.05, len(time_s))))
    result = speedcal.calibrate(track, readings_as_shown(START_S + time_s, shown[each], "km/h", 1.0))
    assert "receiver_in_bends" not in {finding.code for finding in result.findings}
    for at in (8.0, 12.0, 16.0):
        away = float(result.indicated(at)) - _FACTOR * at
        assert abs(away) < max(float(result.half_width(at)), 0.03 * MPH_MPS)
