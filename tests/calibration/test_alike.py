"""Rounded values that tell the same count once."""

from __future__ import annotations

import numpy as np
import pytest
from benchmark.judge import drives_of

import speedcal
from speedcal.calibration.logged import latent_speed
from speedcal.calibration.logged.alike import telling_alike
from speedcal.interval import FloatArray
from speedcal.simulate import simulate


def _alike(value: list[float], moved: list[float], *, step: float = 1.0, wandered2: float = 0.0) -> list[float]:
    count = len(value)
    return list(
        telling_alike(
            np.array(value),
            np.zeros(count, np.int64),
            moved=np.array(moved),
            wandered2=np.full(count, wandered2),
            step=step,
        )
    )


def test_equal_values_of_a_speed_that_stands_still_tell_one_thing() -> None:
    assert _alike([3, 3, 3, 3], [0, 0, 0, 0]) == [4, 4, 4, 4]


def test_another_value_in_between_is_news() -> None:
    assert _alike([3, 3, 4, 3, 3], [0] * 5) == [2, 2, 1, 2, 2]


@pytest.mark.parametrize(("moved", "wandered2"), [(0.3, 0.0), (0.0, 0.3**2)])
def test_values_far_apart_within_a_step_each_tell_something(moved: float, wandered2: float) -> None:
    assert _alike([3, 3, 3], [moved] * 3, wandered2=wandered2) == [1, 1, 1]


def test_values_that_are_not_rounded_each_tell_something() -> None:
    assert _alike([3, 3, 3], [0, 0, 0], step=0.0) == [1, 1, 1]


def test_a_gap_of_the_track_parts_what_is_alike() -> None:
    told = telling_alike(np.full(4, 3.0), np.array([0, 0, 1, 1]), moved=np.zeros(4), wandered2=np.zeros(4), step=1.0)
    assert list(told) == [2, 2, 2, 2]


def test_held_speeds_are_known_better_when_the_same_is_heard_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Cruise control, whole km/h, ten drives of known truth: nearer to it, intervals narrower by a sixth."""
    drives = [
        simulate("cruise control", np.random.default_rng(seed))
        for _, seed in drives_of("cruise control", seed=5, drives=10)
    ]

    def fitted() -> FloatArray:
        factors = [(speedcal.calibrate(d.track, d.readings).error_factor, d.truth.error_factor) for d in drives]
        return np.array([(factor.value / true - 1, factor.half_width / true) for factor, true in factors])

    once = fitted()
    monkeypatch.setattr(latent_speed, "telling_alike", lambda value, piece, **_: np.ones(len(value)))
    each = fitted()
    assert np.sqrt(np.mean(once[:, 0] ** 2)) < np.sqrt(np.mean(each[:, 0] ** 2))
    assert np.median(once[:, 1]) < 0.83 * np.median(each[:, 1])
    assert (np.abs(once[:, 0]) <= once[:, 1]).sum() >= 9
