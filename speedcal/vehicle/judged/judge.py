"""How a change of the drive is judged: by the readings it leads one to expect at the customer's speeds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from speedcal.calibration.dial.dial import Dial
from speedcal.interval import FloatArray, Interval, tidy
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit
from speedcal.vehicle.judged.limits import (
    ABOUT_AS_FAST,
    ODOMETER_TEST,
    ROAD_TEST_MPS,
    Limits,
    RuleLimits,
    TireSet,
    default_limits,
    needle_u,
)
from speedcal.vehicle.judged.showing import Showing
from speedcal.vehicle.vehicle import CRITERIA, Criterion

_GAIN_STEPS = 33
"""Over six standard uncertainties either way: three a sigma."""
SURE_ENOUGH = 0.96
"""Chances above this are alike: then the smaller error, or the lesser work, decides."""
RISK_OF_READING_LOW = 0.05
"""With the criterion "never reads low" a choice is good when the chance that it reads low is at most this."""


@dataclass(frozen=True)
class Judge:
    """The dial, the customer's speeds and the criterion, ready to judge any change of the drive.

    Parameters
    ----------
    dial
        As it reads now. A change by g makes it show at v what it showed at g v.
    unit
        Unit of ``speeds``.
    speeds
        True speeds that matter, all above zero, at least one.
    criterion
        What counts as best.
    acceptable_percent
        Worst error that counts as put right. [%]
    odometer_factor
        Of the odometer where it was measured; None takes the dial's slope.
    tire_sets
        The sets of tires that one choice has to serve; the first is that of the drive.
    limits
        What may be shown; None takes :func:`default_limits`.
    road_test_mps
        Distance from a limit that a road test takes to prove it. [m/s] See
        :func:`speedcal.vehicle.judged.limits.road_test_like`.
    """

    dial: Dial
    unit: DisplayUnit
    speeds: tuple[float, ...]
    criterion: Criterion
    acceptable_percent: float
    odometer_factor: Interval | None = None
    tire_sets: tuple[TireSet, ...] = (TireSet(),)
    limits: Limits | None = None
    road_test_mps: float = ROAD_TEST_MPS
    _showing: Showing = field(init=False, repr=False)
    _latest: dict[float, FloatArray] = field(init=False, repr=False, default_factory=dict)
    """What :meth:`_latest_shown` returned for the gain asked last; questions about one gain come together."""

    def __post_init__(self) -> None:
        if not self.speeds or not all(0 < speed < np.inf for speed in self.speeds):
            raise ValueError(f"speeds must be above zero and at least one, not {self.speeds}")
        if self.criterion not in CRITERIA:
            raise ValueError(f"criterion must be one of {CRITERIA}, not {self.criterion!r}")
        speeds_mps = np.concatenate([self.speeds_mps, self._named[0]])
        showing = Showing(self.dial, speeds_mps, self.odometer_factor, self.tire_sets, self.is_of_odometer)
        object.__setattr__(self, "_showing", showing)

    @cached_property
    def speeds_mps(self) -> FloatArray:
        """The customer's speeds. [m/s]."""
        return np.asarray(self.speeds, float) * SPEED_UNIT_MPS[self.unit]

    @property
    def is_of_odometer(self) -> bool:
        """Whether it is the odometer that is judged, and not the dial."""
        return isinstance(self.limits, RuleLimits) and self.limits.of_odometer

    @cached_property
    def _named(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Speeds that a rule names, and its limits there: those about as fast as was driven, or the slowest. [m/s]."""
        if not isinstance(self.limits, RuleLimits):
            return (np.empty(0),) * 3
        top = ABOUT_AS_FAST * self.dial.driven_mps[1]
        near = self.limits.speeds_mps <= max(top, self.limits.speeds_mps.min(initial=np.inf) + 1e-6)
        return self.limits.speeds_mps[near], self.limits.low_mps[near], self.limits.high_mps[near]

    @property
    def odometer(self) -> Interval:
        """Gain of the odometer: measured, or else that of the pointer, which the same shaft drives."""
        return self._showing.odometer

    def relative_errors(self, gain: float, shift_mps: float = 0.0) -> FloatArray:
        """Return the expected error at each speed and set of tires after the change, relative to the true speed.

        Parameters
        ----------
        gain
            Speed of the instrument's shaft after the change over that before.
        shift_mps
            How far the needle is set up (+) or down (-). [m/s]
        """
        v = self.speeds_mps
        return (self._showing.expected(v, gain) + shift_mps) / np.tile(v, len(self.tire_sets)) - 1

    def worst_error(self, gain: float, shift_mps: float = 0.0) -> float:
        """Return the largest expected error, relative to the true speed."""
        return float(np.abs(self.relative_errors(gain, shift_mps)).max())

    def miss(self, gain: float) -> float:
        """Return the expected error that the criterion looks at, before any risk: of the odometer or of the dial."""
        return abs(gain * self.odometer.value - 1) if self.criterion == "odometer first" else self.worst_error(gain)

    def table(self, gain: float, tires: TireSet | None = None) -> list[dict[str, float]]:
        """Return the expected error at each speed with its 95 % interval, in the display unit."""
        scale, fitted = SPEED_UNIT_MPS[self.unit], tires or self.tire_sets[0]
        dial = self.dial.geared(gain * fitted.gain, u_ln_factor=fitted.u_ln_gain)
        shown, half = dial.indicated(self.speeds_mps) / scale, dial.half_width(self.speeds_mps) / scale
        return [
            {
                "ground": tidy(v, 4),
                "indicated": tidy(at, 4),
                "error": tidy(at - v, 4),
                "low": tidy(at - v - h, 4),
                "high": tidy(at - v + h, 4),
                "percent": tidy(100 * (at - v) / v, 3),
            }
            for v, at, h in zip(self.speeds, shown, half, strict=True)
        ]

    def plausible_errors(self, gains: Sequence[float] | FloatArray) -> FloatArray:
        """Return the relative errors that may be the truth, shape (truths, gains, speeds and sets)."""
        v = self.speeds_mps
        return self._showing.plausible(v, gains) / np.tile(v, len(self.tire_sets)) - 1

    def probability_reads_low(self, gain: float) -> float:
        """Return the chance that at one of the speeds at least the instrument shows less than the truth."""
        v = np.tile(self.speeds_mps, len(self.tire_sets))
        return float(((self._latest_shown(gain)[: len(v)] / v[:, None]).min(axis=0) < 1).mean())

    def _latest_shown(self, gain: float) -> FloatArray:
        """Return what may be shown with one gain, at the customer's speeds and the rule's, shape (speeds, truths)."""
        if gain not in self._latest:
            self._latest.clear()
            shown = [self._showing.plausible(v, [gain])[:, 0].T for v in (self.speeds_mps, self._named[0])]
            self._latest[gain] = np.concatenate(shown)
        return self._latest[gain]

    def _expected_shown(self, gain: float) -> FloatArray:
        """Return what is expected to be shown at the customer's speeds and those that the rule names. [m/s]."""
        return np.concatenate([self._showing.expected(v, gain) for v in (self.speeds_mps, self._named[0])])

    @cached_property
    def _allowed(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the customer's speeds and the rule's for all sets of tires, and what may be shown there. [m/s]."""
        limits = self.limits or default_limits(self.criterion, self.acceptable_percent)
        ordinary = (self.speeds_mps, *limits(self.speeds_mps))
        v, low, high = (
            np.concatenate([np.tile(rows, len(self.tire_sets)) for rows in pair])
            for pair in zip(ordinary, self._named, strict=True)
        )
        return v, low, high

    def probability_within(self, gain: float, shift_mps: float = 0.0, *, margin: float = 0.0) -> float:
        """Return the chance that at every speed the instrument shows what the limits allow, less a margin.

        The margin is a speed [m/s]; of an odometer, a share of what it counts. A needle that is set over comes to stand
        as near as a hand sets it.
        """
        v, low, high = (row[:, None] for row in self._allowed)
        by_hand = needle_u(self.unit, self.dial.driven_mps[1]) * self._showing.hands
        shown = self._latest_shown(gain) + (shift_mps + by_hand if shift_mps else 0.0)
        kept = margin * v if self.is_of_odometer else np.full_like(v, margin)
        inside = (shown >= low + kept - 1e-9) & (shown <= high - kept + 1e-9)
        return float(np.all(inside, axis=0).mean())

    def probability_proven(self, gain: float, shift_mps: float = 0.0) -> float:
        """Return the chance that a road test will show it: the limits of a rule are kept by what such a test leaves."""
        margin = ODOMETER_TEST if self.is_of_odometer else self.road_test_mps
        return self.probability_within(gain, shift_mps, margin=0.0 if self.limits is None else margin)

    def best_shift(self, gain: float, shifts_mps: FloatArray) -> float:
        """Return the smallest shift of the needle that is proven likely enough, or the one that most likely is."""
        proven = [min(self.probability_proven(gain, float(shift)), SURE_ENOUGH) for shift in shifts_mps]
        within = [min(self.probability_within(gain, float(shift)), SURE_ENOUGH) for shift in shifts_mps]
        left = [self.worst_error(gain, float(shift)) for shift in shifts_mps]
        order = sorted(range(len(left)), key=lambda i: (-round(proven[i], 2), -round(within[i], 2), left[i]))
        return float(shifts_mps[order[0]])

    def expected_within(self, gain: float, shift_mps: float = 0.0) -> bool:
        """Tell whether the expected readings keep the limits."""
        return self.expected_excess(gain, shift_mps) <= 1e-9

    def expected_excess(self, gain: float, shift_mps: float = 0.0) -> float:
        """Return by how much the expected readings leave the limits where they do so most; below zero inside. [m/s]."""
        _, low, high = self._allowed
        shown = self._expected_shown(gain) + shift_mps
        return float(np.maximum(low - shown, shown - high).max())

    def proven_gain(self) -> float:
        """Return the gain nearest to the ideal one with which a road test will likely show that the rule is kept.

        A rule may have a limit at no error at all, where the ideal gain would leave the dial.
        """
        ideal = self.expected_ideal
        if self.limits is None or self.probability_proven(ideal) >= SURE_ENOUGH:
            return ideal
        v, low, high = self._allowed
        gains = ideal * np.linspace(0.85, 1.2, 71)
        shown = np.stack([self._expected_shown(gain) for gain in gains])
        room = (np.minimum(shown - low, high - shown) / v).min(axis=1)
        middle = float(gains[int(np.argmax(np.nan_to_num(room, posinf=1.0)))])
        steps = ideal + (middle - ideal) * np.linspace(0.0, 1.0, 11)
        return next((float(g) for g in steps if self.probability_proven(float(g)) >= SURE_ENOUGH), middle)

    def probabilities_best(self, gains: Sequence[float]) -> list[float]:
        """Return for each gain the chance that it is the best of them, over what the truth may be."""
        if not gains:
            return []
        wins = np.bincount(self._losses(np.asarray(gains, float)).argmin(axis=1), minlength=len(gains))
        return [float(share) for share in wins / wins.sum()]

    def loss(self, gain: float) -> tuple[float, float]:
        """Return what the criterion minimises, for the expected errors; the second number breaks ties."""
        worst = self.worst_error(gain)
        if self.criterion == "odometer first":
            return abs(gain * self.odometer.value - 1), worst
        if self.criterion == "never reads low":
            risk = self.probability_reads_low(gain)
            low = -float(self.relative_errors(gain).min())
            return (worst, 0.0) if risk <= RISK_OF_READING_LOW else (10 + risk, low)
        return worst, 0.0

    @cached_property
    def expected_ideal(self) -> float:
        """The gain that the criterion would choose for the expected dial if every gain could be had."""
        if self.criterion == "odometer first":
            return 1 / self.odometer.value
        low, high = self._bracket()
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if self._excess(self.relative_errors(middle)) < 0 else (low, middle)
        return (low + high) / 2

    @cached_property
    def ideal_gain(self) -> Interval:
        """The change of gain that the criterion would choose if every gain could be had, with its interval.

        An offset or a bend cannot be cancelled; the gain then splits the errors evenly over the speeds (smallest worst
        error), lifts the lowest until reading low is unlikely enough (never reads low), or leaves them (odometer
        first).
        """
        centre = self.expected_ideal
        if self.criterion == "odometer first":
            spread = 1 / self._showing.odometers
        else:
            reach = 6 * float(np.max(self.dial.u_indicated(centre * self.speeds_mps) / self.speeds_mps)) + 1e-6
            gains = centre * (1 + np.linspace(-reach, reach, _GAIN_STEPS)).clip(0.05)
            spread = _gain_of_none(self._excess(self.plausible_errors(gains)), gains)
        low, high, safe = np.quantile(spread, [0.025, 0.975, 1 - RISK_OF_READING_LOW])
        value = float(safe) if self.criterion == "never reads low" else centre
        return Interval(value, float(low), float(high))

    def unavoidable_error(self) -> float:
        """Return the worst relative error that offset and bend leave whatever the gain is made."""
        return self.worst_error(self.expected_ideal)

    def _bracket(self) -> tuple[float, float]:
        low = high = 1.0
        while self._excess(self.relative_errors(low)) >= 0 and low > 1e-3:
            low /= 1.5
        while self._excess(self.relative_errors(high)) < 0 and high < 1e3:
            high *= 1.5
        return low, high

    def _excess(self, errors: FloatArray) -> FloatArray:
        """Return what is zero at the ideal gain: the lowest error, or the sum of the lowest and the highest."""
        lowest = errors.min(axis=-1)
        return np.asarray(lowest if self.criterion == "never reads low" else lowest + errors.max(axis=-1))

    def _losses(self, gains: FloatArray) -> FloatArray:
        """Return the loss of each gain for each plausible truth, shape (truths, gains)."""
        if self.criterion == "odometer first":
            return np.asarray(np.abs(self._showing.odometers[:, None] * gains - 1))
        errors = self.plausible_errors(gains)
        worst = np.abs(errors).max(axis=2)
        if self.criterion != "never reads low":
            return np.asarray(worst)
        low = errors.min(axis=2)
        return np.asarray(np.where(low < 0, 10 - low, worst))


def _gain_of_none(excess: FloatArray, gains: FloatArray) -> FloatArray:
    """Return between which gains each row of an excess, which rises with them, is none: (n, k) and (k,) to (n,)."""
    rows = np.arange(len(excess))
    after = np.count_nonzero(excess < 0, axis=1).clip(1, len(gains) - 1)
    low, high = excess[rows, after - 1], excess[rows, after]
    between = (-low / np.maximum(high - low, 1e-12)).clip(0.0, 1.0)
    return np.asarray(gains[after - 1] + np.diff(gains)[after - 1] * between)
