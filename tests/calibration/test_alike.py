"""Rounded values that tell the same count once."""

from __future__ import annotations

import numpy as np
import pytest
from benchmark.judge import drives_of

import speedcal
from speedcal.calibration.logged import latent_speed
from speedcal.calibration.logged.alike import telling_dial_alike, telling_speed_alike
from speedcal.interval import FloatArray
from speedcal.simulate import simulate


def _alike(value: list[float], moved: list[float], *, step: float = 1.0, wandered2: float = 0.0) -> list[float]:
    count = len(value)
    return list(
        telling_speed_alike(
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


def test_values_that_are_hardly_rounded_each_tell_something() -> None:
    assert _alike([3, 3, 3], [1e-3] * 3, step=1e-6) == [1, 1, 1]


def test_a_gap_of_the_track_parts_what_is_alike() -> None:
    value, piece, still = np.full(4, 3.0), np.array([0, 0, 1, 1]), np.zeros(4)
    assert list(telling_speed_alike(value, piece, moved=still, wandered2=still, step=1.0)) == [2, 2, 2, 2]
    assert telling_dial_alike(value, piece, exact=value, step=1.0) == pytest.approx([2, 2, 2, 2])


@pytest.mark.parametrize("step", [1.0, 0.447])
def test_values_tell_a_dial_the_same_by_how_near_they_lie_on_it(step: float) -> None:
    """Alike in full where they lie on one place, not at all a tenth of a step apart, by half at half of that."""
    value, piece = step * np.array([3.0, 3, 3, 3, 4, 3]), np.zeros(6, np.int64)
    exact = step * np.array([3.1, 3.15, 3.1, 3.3, 4.1, 3.1])
    assert telling_dial_alike(value, piece, exact=exact, step=step) == pytest.approx([2.5, 2, 2.5, 1, 1, 1])


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
    for rule in ("telling_speed_alike", "telling_dial_alike"):
        monkeypatch.setattr(latent_speed, rule, lambda value, piece, **_: np.ones(len(value)))
    each = fitted()
    assert np.sqrt(np.mean(once[:, 0] ** 2)) < np.sqrt(np.mean(each[:, 0] ** 2))
    assert np.median(once[:, 1]) < 0.83 * np.median(each[:, 1])
    assert (np.abs(once[:, 0]) <= once[:, 1]).sum() >= 9
