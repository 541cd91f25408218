"""Line, curve, runs and play in one: against the same Gaussian model written out in full, and against truth."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from speedcal.calibration.dial.curve import deviation_covariance, driven_points
from speedcal.calibration.dial.dial_mixture import Basis, Laid, PointerPlay, mixed_dial
from speedcal.calibration.noted.rivals import kinks_of
from speedcal.calibration.speed.speed_of_track import ground_speed
from speedcal.calibration.tuning.general import (
    CURVE_SIZES_MPS,
    FACTOR_PRIOR_U,
    OFFSET_SHARES,
    OFFSET_SIZES_MPS,
    STRAIGHT_SHARE,
)
from speedcal.calibration.tuning.notes import (
    FIGURES_SCATTER,
    LINE_SCATTERS_MPS,
    PLAY_MPS,
    PLAY_SHARES,
    PLAY_SIZES_MPS,
    RUN_SHARE_ODDS,
    RUN_SHARES,
    SCATTER_LOG_SD,
    SCATTER_MPS,
)
from speedcal.calibration.tuning.rivals import ASIDE_MPS, CHANGE_ON_WAY_MPS, CHANGE_ON_WAY_U
from speedcal.interval import FloatArray
from speedcal.units import MPH_MPS


def _laid(rng: np.random.Generator, speed: FloatArray, shown: FloatArray, run: FloatArray) -> Laid:
    return Laid(
        weight=1.0,
        speed_mps=speed,
        shown_mps=shown,
        widening=rng.uniform(1.0, 2.0, len(speed)),
        known_variance=np.full(len(speed), 0.02),
        run=run.astype(np.int64),
        play=rng.uniform(-1, 1, len(speed)),
    )


def test_the_mixture_is_the_gaussian_model_written_out_in_full() -> None:
    """Dense covariances of every node, no low rank and no dyads: reading and its uncertainty at three speeds.

    The odds that the dial was changed on the way as well, from each reading on that has three before it and two after,
    and that another reader took over at a known one, with the mean square of half of what is between the two.
    The shapes of the curve that are left out carry a thousandth of its variance, so 1 % of u is allowed.
    """
    rng = np.random.default_rng(5)
    speed = np.sort(rng.uniform(9, 28, 14))
    run = np.array([0, 0, 0, -1, 1, 1, -1, -1, 2, 2, 2, 2, -1, -1])
    when = rng.permutation(14)
    way = _laid(rng, speed, 0.3 + (1.04 + 0.02 * (when > 7)) * speed + rng.normal(0, 0.3, 14), run)
    at = np.array([10.0, 18.0, 26.0])
    driven = driven_points(speed)
    everywhere = np.concatenate([speed, at])
    design = np.column_stack([np.ones(17), everywhere])
    curve = deviation_covariance(everywhere, everywhere, driven)
    same = (run[:, None] == run) & (run[:, None] >= 0)
    logs, changed, handed, squares, means, covariances = [], [], [], [], [], []
    sizes = [(0.0, STRAIGHT_SHARE)]
    sizes += [(m, (1 - STRAIGHT_SHARE) / len(CURVE_SIZES_MPS)) for m in CURVE_SIZES_MPS]
    plays = zip(PLAY_SIZES_MPS, PLAY_SHARES, strict=True)
    shared = zip(RUN_SHARES, RUN_SHARE_ODDS, strict=True)
    needles = zip(OFFSET_SIZES_MPS, OFFSET_SHARES, strict=True)
    for s, (rho, rho_share), (size, share), (hang, hang_share), (needle, needle_share) in product(
        LINE_SCATTERS_MPS, shared, sizes, plays, needles
    ):
        line = design @ np.diag([needle**2, FACTOR_PRIOR_U**2]) @ design.T
        own = np.where(run >= 0, (1 - rho) * s**2, s**2) * way.widening + way.known_variance
        noise = np.diag(own) + rho * s**2 * same + hang**2 * np.outer(way.play, way.play)
        prior = line + size**2 * curve
        marginal = prior[:14, :14] + noise
        gain = np.linalg.solve(marginal, prior[:14, 14:]).T
        rest = way.shown_mps - speed
        prior_odds = np.log(share * hang_share * rho_share * needle_share)
        prior_odds -= 0.5 * (np.log(s / SCATTER_MPS) / SCATTER_LOG_SD) ** 2
        logs.append(_log_normal(rest, marginal) + prior_odds)
        for begin in range(3, 12):
            for size in (CHANGE_ON_WAY_U * speed, CHANGE_ON_WAY_MPS):
                later = size * (when >= begin)
                changed.append(_log_normal(rest, marginal + np.outer(later, later)) + prior_odds - np.log(18))
        aside = ASIDE_MPS * (when >= 6)
        handed.append(_log_normal(rest, marginal + np.outer(aside, aside)) + prior_odds)
        told = np.linalg.solve(marginal, aside)
        variance = 1 / (1 + aside @ told)
        squares.append((ASIDE_MPS / 2) ** 2 * (variance + (variance * told @ rest) ** 2))
        means.append(at + gain @ rest)
        covariances.append(prior[14:, 14:] - gain @ prior[:14, 14:])
    weight = np.exp(np.array(logs) - max(logs))
    weight /= weight.sum()
    mean = weight @ np.array(means)
    spread = np.array(means) - mean
    variance = weight @ (np.diagonal(covariances, axis1=1, axis2=2) + spread**2)
    basis = Basis.driven_at(speed)
    mixed = mixed_dial([way], basis)
    np.testing.assert_allclose(mixed.dial.u_indicated(at), np.sqrt(variance), rtol=0.02)
    np.testing.assert_allclose(mixed.dial.indicated(at), mean, atol=0.03 * np.sqrt(variance.max()))
    kinks = kinks_of(replace(way, moment_s=when.astype(float)), basis, mixed.nodes, set_s=5.5)
    np.testing.assert_allclose(kinks.log_changed, np.logaddexp.reduce(changed) - np.logaddexp.reduce(logs), atol=0.02)
    np.testing.assert_allclose(
        kinks.log_handed_over, np.logaddexp.reduce(handed) - np.logaddexp.reduce(logs), atol=0.02
    )
    expected = np.average(squares, weights=np.exp(np.array(handed) - max(handed)))
    np.testing.assert_allclose(kinks.apart_mps2, expected, rtol=0.03)


def test_intervals_hold_the_truth_of_small_samples() -> None:
    """200 straight dials of twelve readings, three a run with half of their variance shared: 95 % hold at 20 m/s.

    The binomial's standard deviation is 1.5 %.
    """
    rng = np.random.default_rng(8)
    held = []
    for _ in range(200):
        level = rng.uniform(10, 30, 4)
        speed = np.repeat(level, 3) + rng.normal(0, 0.2, 12)
        error = np.repeat(rng.normal(0, 0.2, 4), 3) + rng.normal(0, 0.2, 12)
        offset, factor = rng.normal(0, 0.4), rng.normal(1.03, 0.04)
        laid = Laid(1.0, speed, offset + factor * speed + error, np.ones(12), np.full(12, 1e-4), _runs(), np.zeros(12))
        dial = mixed_dial([laid], Basis.driven_at(speed)).dial
        middle = float(np.median(speed))
        held.append(abs(float(dial.indicated(middle)) - offset - factor * middle) < float(dial.half_width(middle)))
    assert np.mean(held) >= 0.95 - 2 * 0.015


@pytest.mark.parametrize("off_mph", [4, 6])
def test_a_needle_put_on_wrongly_hardly_moves_the_factor(off_mph: float) -> None:
    """Readings that scatter by 0.6 mph, 20 of each of 60 dials: the factor is right to 0.6 % in the mean.

    The mean of 60 is known to 0.2 %. By least squares alone a factor errs by 1.3 %; a normal prior of 1.5 mph on the
    offset moves it by 1.8 % at six mph, and one such needle in ten by 0.7 % at four.
    """
    rng = np.random.default_rng(9)
    alone, off = np.full(20, -1), []
    for _ in range(60):
        speed = rng.uniform(10, 28, 20)
        shown = off_mph * MPH_MPS + 1.04 * speed + rng.normal(0, 0.6 * MPH_MPS, 20)
        laid = Laid(1.0, speed, shown, np.ones(20), np.full(20, 1e-4), alone, np.zeros(20))
        off.append(mixed_dial([laid], Basis.driven_at(speed)).dial.line.error_factor / 1.04 - 1)
    assert abs(np.mean(off)) < 0.006


def _log_normal(off: FloatArray, covariance: FloatArray) -> float:
    return float(-0.5 * (off @ np.linalg.solve(covariance, off) + np.linalg.slogdet(covariance)[1]))


def _runs() -> np.ndarray:
    return np.repeat(np.arange(4), 3)


def test_a_bent_dial_is_told_as_it_is_and_called_bent() -> None:
    """1.5 m/s up in the middle of the driven speeds, 24 readings to 0.2 m/s; a straight one is called straight."""
    rng = np.random.default_rng(2)
    speed = np.linspace(8, 30, 24)
    for height, shape in ((1.5, "bent"), (0.0, "straight")):
        true = 1.03 * speed + height * np.exp(-(((speed - 19) / 4) ** 2))
        laid = Laid(
            1.0, speed, true + rng.normal(0, 0.2, 24), np.ones(24), np.full(24, 1e-4), np.full(24, -1), np.zeros(24)
        )
        dial = mixed_dial([laid], Basis.driven_at(speed)).dial
        assert dial.shape == shape
        assert abs(float(dial.indicated(19.0)) - 1.03 * 19 - height) < float(dial.half_width(19.0))


def test_two_ways_that_disagree_widen_the_dial_by_their_distance() -> None:
    """Equal weights, 0.6 m/s apart: half of that is added in quadrature, and counted as what the ways disagree by."""
    rng = np.random.default_rng(4)
    speed = np.linspace(8, 30, 24)
    base = 1.02 * speed + rng.normal(0, 0.1, 24)
    ways = [
        Laid(0.5, speed, base + off, np.ones(24), np.full(24, 1e-4), np.full(24, -1), np.zeros(24)) for off in (0, 0.6)
    ]
    apart = [mixed_dial([way], Basis.driven_at(speed)).dial for way in ways]
    both = mixed_dial(ways, Basis.driven_at(speed))
    middle = 19.0
    distance = float(apart[1].indicated(middle) - apart[0].indicated(middle))
    expected = float(np.hypot(apart[0].u_indicated(middle), distance / 2))
    assert float(both.dial.u_indicated(middle)) == pytest.approx(expected, rel=0.02)
    assert both.between > 0.8


def test_a_pointer_is_where_the_play_operator_takes_it_second_by_second() -> None:
    """Written out as a loop: it follows the edge of its play that reaches it, and waits where no speed is known."""
    rng = np.random.default_rng(8)
    speed, known, play, state = np.cumsum(rng.normal(0, 0.3, 700)) + 20, rng.random(700) > 0.1, 0.4, 0.0
    hangs = []
    for v, is_known in zip(speed, known, strict=True):
        state = min(max(state, v - play), v + play) if is_known else state
        hangs.append(np.clip((state - v) / play, -1, 1))
    pointer = PointerPlay.behind(np.arange(700.0), speed, known, play_mps=play)
    assert pointer.hangs == pytest.approx(np.array(hangs), abs=1e-12)


def test_a_pointer_with_play_hangs_behind_by_all_of_it_once_the_speed_has_turned() -> None:
    """The play operator by hand: after a rise the pointer is low by the whole play, after a fall high by it."""
    from support.roads import Road, track_of

    road = Road(np.array([0.0, 40, 80, 120, 160]), np.array([0.0, 20, 20, 10, 10]))
    play = PointerPlay.along(ground_speed(track_of(road)))
    begin = play.clock_s[0]
    assert PLAY_MPS < 1.0
    assert float(play.at(begin + 60.0)) == pytest.approx(-1.0, abs=0.05)
    assert float(play.at(begin + 140.0)) == pytest.approx(1.0, abs=0.05)


def test_figures_that_nobody_misjudges_tell_more_than_a_pointer_and_hold_the_truth() -> None:
    """Whole mph of a display that is exact, twenty of them: held in nine of ten and more, and a tenth narrower."""
    held, narrower = [], []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        speed = np.sort(rng.uniform(9, 28, 20))
        exact = 0.2 + 1.03 * speed
        shown = np.round(exact / MPH_MPS) * MPH_MPS
        one, nothing = np.ones(20), np.zeros(20)
        pointer = Laid(1.0, speed, shown, one, nothing, -one.astype(int), nothing, rounding_variance=MPH_MPS**2 / 12)
        basis = Basis.driven_at(speed)
        dials = [mixed_dial([way], basis).dial for way in (pointer, replace(pointer, scatter_scale=FIGURES_SCATTER))]
        half = [float(dial.half_width(19.0)) for dial in dials]
        held.append(abs(float(dials[1].indicated(19.0)) - (0.2 + 1.03 * 19.0)) < half[1])
        narrower.append(half[1] / half[0])
    assert np.mean(held) >= 0.9
    assert np.median(narrower) < 0.9
