"""Everything that could be fitted or set, each with the change of the drive it brings."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from fractions import Fraction

from speedcal.calibration.result import Calibration
from speedcal.finding import Finding
from speedcal.units import MPH_MPS
from speedcal.vehicle.choices.choice import Choice, judge_choice
from speedcal.vehicle.diagnosed.identities import MET_DRIVE, MET_DRIVEN
from speedcal.vehicle.drivetrain import EffectiveTire, solve_train
from speedcal.vehicle.judged.judge import Judge
from speedcal.vehicle.train.parts import ScalerLimits, Setting
from speedcal.vehicle.vehicle import Vehicle

_SHOWN_TEETH, _SHOWN_PAIRS = 7, 8
"""Choices of one kind that a table lists: enough on either side of the best."""
_FREE_DRIVEN, _FREE_DRIVE = range(10, 61), range(4, 31)
"""Counts that are reckoned where no gear family says which exist: wider than any that is met, the best lies inside."""
_NEEDLE_OFF_MPS = MPH_MPS
"""From this offset on a needle may be worth reseating."""
_LEAST_BOX, _MOST_BOX = Fraction(2, 3), Fraction(3, 2)
"""Ratios that one pair of gears in a box reaches. Our own judgment."""


@dataclass(frozen=True, slots=True)
class FittedTeeth:
    """Gears in the vehicle now: as the job says, or as the drive shows when the rest of the chain is known."""

    driven: int | None
    drive: int | None
    findings: tuple[Finding, ...] = ()
    is_guess: bool = False
    """True when the driven gear is only a starting point for counting: nobody has said what is fitted."""


def fitted_teeth(calibration: Calibration | None, vehicle: Vehicle) -> FittedTeeth:
    """Return the teeth fitted; a gear nobody counted is taken from the drive when only one tooth count is possible."""
    driven, drive = vehicle.driven_gear, vehicle.drive_gear
    if not vehicle.has_gear_drive:
        return FittedTeeth(None, None)
    told = solve_train(calibration, vehicle)
    if told.determined not in ("driven_gear", "drive_gear") or told.value is None:
        return FittedTeeth(driven, drive)
    nearest = round(told.value.value)
    others = [n for n in range(math.ceil(told.value.low), math.floor(told.value.high) + 1) if n != nearest]
    values = {"gear": told.determined, "teeth": told.value.value, "low": told.value.low, "high": told.value.high}
    is_missing = vehicle.family is not None and vehicle.family.has(told.determined, nearest) is False
    if others or nearest < 3 or is_missing:
        return FittedTeeth(driven, drive, (Finding("teeth_open", **values),))
    found = (Finding("teeth_from_drive", **values, taken=nearest),)
    return (
        FittedTeeth(nearest, drive, found) if told.determined == "driven_gear" else FittedTeeth(driven, nearest, found)
    )


def driven_choices(judge: Judge, vehicle: Vehicle, fitted: FittedTeeth) -> list[Choice]:
    """Return driven gears; an indicated speed goes with 1 / teeth."""
    driven, family = fitted.driven, vehicle.family
    if driven is None:
        return []
    now = None if fitted.is_guess else driven
    counts = {*_FREE_DRIVEN, *(family.driven.teeth if family and family.driven else ()), driven}
    return [
        judge_choice(
            judge,
            "driven_gear",
            (("teeth", teeth),),
            driven / teeth,
            available=True if teeth == now else family.has("driven_gear", teeth) if family else None,
            orientation=family.orientation(teeth) if family else None,
            is_fitted=teeth == now,
        )
        for teeth in _near(judge, counts, lambda teeth: driven / teeth, now)
    ]


def _near(judge: Judge, counts: Iterable[int], gain_of: Callable[[int], float], now: int | None) -> list[int]:
    """Return the counts worth judging in full: those of which the expected error is small, and what is fitted."""
    order = sorted(counts, key=lambda n: (judge.miss(gain_of(n)), n))
    return sorted({*order[: 3 * _SHOWN_TEETH], *([now] if now is not None else [])})


def drive_choices(judge: Judge, vehicle: Vehicle, fitted: FittedTeeth) -> list[Choice]:
    """Return drive gears; an indicated speed goes with the teeth."""
    if fitted.drive is None or fitted.is_guess:
        return []
    family, now = vehicle.family, fitted.drive
    turned = family.orientation(fitted.driven) if family and fitted.driven else None
    met = MET_DRIVE if now in MET_DRIVE else _FREE_DRIVE
    counts = {*met, *(family.drive.teeth if family and family.drive else ()), now}
    return [
        judge_choice(
            judge,
            "drive_gear",
            (("teeth", teeth),),
            teeth / now,
            available=True if teeth == now else family.has("drive_gear", teeth) if family else None,
            orientation=turned,
            is_fitted=teeth == now,
        )
        for teeth in _near(judge, counts, lambda teeth: teeth / now, now)
    ]


def pair_choices(judge: Judge, vehicle: Vehicle, fitted: FittedTeeth) -> list[Choice]:
    """Return drive and driven gears changed together: those that the family has, of a gear it tells nothing of all."""
    family = vehicle.family
    if fitted.driven is None or fitted.drive is None or family is None or not (family.driven or family.drive):
        return []
    now = Fraction(fitted.drive, fitted.driven)
    gains = {
        (drive, driven): float(Fraction(drive, driven) / now)
        for drive in (family.drive.teeth if family.drive else MET_DRIVE)
        for driven in (family.driven.teeth if family.driven else MET_DRIVEN)
        if drive != fitted.drive and driven != fitted.driven
    }
    known = True if family.drive and family.driven else None
    near = sorted(gains, key=lambda pair: (judge.miss(gains[pair]), pair))[: 2 * _SHOWN_PAIRS]
    return [
        judge_choice(
            judge,
            "pair",
            (("drive_gear", drive), ("driven_gear", driven)),
            gains[drive, driven],
            available=known,
            orientation=family.orientation(driven),
        )
        for drive, driven in near
    ]


def ratio_box_choices(judge: Judge, vehicle: Vehicle) -> list[Choice]:
    """Return boxes of two gears in the cable, from the teeth that the job says exist."""
    fitted = vehicle.ratio_box or Fraction(1)
    ratios: dict[Fraction, tuple[int, int]] = {}
    for driver in vehicle.ratio_box_teeth:
        for follower in vehicle.ratio_box_teeth:
            ratio = Fraction(driver, follower)
            if ratio != fitted and _LEAST_BOX <= ratio <= _MOST_BOX:
                ratios.setdefault(ratio, (driver, follower))
    near = sorted(ratios, key=lambda ratio: (judge.miss(float(ratio / fitted)), ratio))[: 2 * _SHOWN_TEETH]
    return [
        judge_choice(
            judge,
            "ratio_box",
            (
                ("ratio", "{}/{}".format(*ratios[ratio])),
                ("driver_teeth", ratios[ratio][0]),
                ("follower_teeth", ratios[ratio][1]),
            ),
            float(ratio / fitted),
            available=True,
        )
        for ratio in near
    ]


def scaler_choices(judge: Judge, vehicle: Vehicle) -> list[Choice]:
    """Return settings of a pulse scaler: the decimals and the fractions on both sides of the ideal."""
    limits = vehicle.scaler_limits
    if limits is None:
        return []
    fitted = vehicle.pulse_scaler or Fraction(1)
    found = {
        (value, str(parts)): (value, parts)
        for gain in _wanted(judge)
        for value, parts in _scaler_settings(limits, float(fitted) * gain)
    }
    return [
        judge_choice(judge, "pulse_scaler", parts, float(value / fitted), available=True, is_fitted=value == fitted)
        for value, parts in found.values()
    ]


def _wanted(judge: Judge) -> tuple[float, ...]:
    """Return the changes that settings are sought for: the ideal one, with a margin, and beside a needle to reseat."""
    line = judge.dial.line
    with_needle = (1 / line.error_factor,) if abs(line.offset_mps) > _NEEDLE_OFF_MPS else ()
    return judge.ideal_gain.value, judge.proven_gain(), *with_needle


def _scaler_settings(limits: ScalerLimits, wanted: float) -> Iterable[tuple[Fraction, tuple[tuple[str, object], ...]]]:
    if limits.decimals is not None:
        tick = Fraction(1, 10**limits.decimals)
        for steps in (math.floor(wanted / tick), math.ceil(wanted / tick)):
            if steps > 0:
                yield steps * tick, (("scaler", float(steps * tick)), ("fraction", None))
    for fraction in limits.fractions_near(wanted):
        yield fraction, (("scaler", float(fraction)), ("fraction", f"{fraction.numerator}/{fraction.denominator}"))


def setting_choices(judge: Judge, vehicle: Vehicle, effective: EffectiveTire | None) -> list[Choice]:
    """Return numbers to type into the module: the settable ones on both sides of the ideal."""
    choices: list[Choice] = []
    for setting in vehicle.settings:
        now = setting.now
        if now is None and effective is not None and effective.is_absolute:
            now = _present(judge, setting, effective)
        if now is not None:
            choices += _setting_steps(judge, setting, now)
    return choices


def _present(judge: Judge, setting: Setting, effective: EffectiveTire) -> float | None:
    """Return the setting that the module must hold now, given what it shows; None when it cannot be told."""
    true_setting = setting.for_circumference(effective.circumference_m.value)
    return None if true_setting is None else true_setting * judge.dial.line.error_factor**setting.power


def _setting_steps(judge: Judge, setting: Setting, now: float) -> list[Choice]:
    values = {value for gain in _wanted(judge) for value in setting.near(now * gain**setting.power)}
    return [
        judge_choice(
            judge,
            "setting",
            (("setting", setting.kind), ("value", value), ("step", setting.step), ("now", setting.now)),
            (value / now) ** setting.power,
            available=True,
            is_fitted=value == setting.now,
        )
        for value in sorted(values)
    ]


def with_chances(judge: Judge, lists: dict[str, list[Choice]], keep: Choice) -> tuple[dict[str, list[Choice]], Choice]:
    """Return the choices with the chance that each is the best of all that exist, whatever their kind.

    What nobody can buy takes no part, and what is fitted is the same as leaving everything alone.
    """
    real = [keep] if keep.is_fitted else []
    real += [c for choices in lists.values() for c in choices if c.can_be_fitted]
    by_id = dict(zip(map(id, real), judge.probabilities_best([c.gain for c in real]), strict=True))

    def chance(choice: Choice) -> float:
        return by_id.get(id(keep if choice.is_fitted else choice), 0.0)

    return (
        {
            kind: [replace(choice, probability_best=chance(choice)) for choice in choices]
            for kind, choices in lists.items()
        },
        replace(keep, probability_best=chance(keep)),
    )


def ranked(judge: Judge, choices: list[Choice]) -> tuple[Choice, ...]:
    """Return choices by the criterion, those that do not exist last; what is fitted always stays in the list."""
    if not choices:
        return ()
    most = _SHOWN_PAIRS if choices[0].kind == "pair" else _SHOWN_TEETH
    order = sorted(choices, key=lambda c: (c.available is False, judge.loss(c.gain), c.gain))
    missing = [c for c in order if c.available is False and judge.loss(c.gain) < judge.loss(order[0].gain)]
    shown = [c for c in order if c.available is not False][:most]
    kept = [c for c in order if c.is_fitted and c not in shown]
    return tuple(shown + kept + missing[:2])
