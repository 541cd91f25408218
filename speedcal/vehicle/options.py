"""Everything that could be fitted or set, each with the change of gain it brings."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction

from speedcal.calibration.result import Calibration
from speedcal.finding import Finding
from speedcal.vehicle.drivetrain import EffectiveTire, solve_train
from speedcal.vehicle.parts import ScalerLimits, Setting
from speedcal.vehicle.ranking import Choice, Judge, judge_choice
from speedcal.vehicle.vehicle import Vehicle

_SHOWN_TEETH, _SHOWN_PAIRS = 7, 8
_FREE_DRIVEN, _FREE_DRIVE = range(10, 61), range(4, 31)
_LEAST_BOX, _MOST_BOX = Fraction(2, 3), Fraction(3, 2)


@dataclass(frozen=True, slots=True)
class FittedTeeth:
    """Gears in the vehicle now: as the job says, or as the drive shows when the rest of the chain is known."""

    driven: int | None
    drive: int | None
    findings: tuple[Finding, ...] = ()


def fitted_teeth(calibration: Calibration, vehicle: Vehicle) -> FittedTeeth:
    """Return the teeth fitted; a gear nobody counted is taken from the drive when only one tooth count is possible."""
    driven, drive = vehicle.driven_gear, vehicle.drive_gear
    if vehicle.sensor != "driven gear":
        return FittedTeeth(None, None)
    told = solve_train(calibration, vehicle)
    if told.determined not in ("driven gear", "drive gear") or told.value is None:
        return FittedTeeth(driven, drive)
    nearest = round(told.value.value)
    others = [n for n in range(math.ceil(told.value.low), math.floor(told.value.high) + 1) if n != nearest]
    what = f"The {told.determined} was not given; the rest of the chain and the drive give {told.value} teeth"
    if others or nearest < 3 or not _may_exist(vehicle, told.determined, nearest):
        text = f"{what}, which does not settle on one count that exists. Count its teeth before ordering."
        return FittedTeeth(driven, drive, (Finding("teeth_open", text),))
    text = f"{what}: taken as {nearest}. Count its teeth to be sure."
    found = (Finding("teeth_from_drive", text),)
    return (
        FittedTeeth(nearest, drive, found) if told.determined == "driven gear" else FittedTeeth(driven, nearest, found)
    )


def _may_exist(vehicle: Vehicle, gear: str, teeth: int) -> bool:
    if vehicle.family is None:
        return True
    known = vehicle.family.has_driven(teeth) if gear == "driven gear" else vehicle.family.has_drive(teeth)
    return known is not False


def driven_choices(judge: Judge, vehicle: Vehicle, fitted: FittedTeeth) -> tuple[Choice, ...]:
    """Return driven gears, best first; an indicated speed goes with 1 / teeth."""
    if fitted.driven is None:
        return ()
    family = vehicle.family
    choices = []
    for teeth in sorted({*_FREE_DRIVEN, *(family.driven.teeth if family and family.driven else ()), fitted.driven}):
        choices.append(
            judge_choice(
                judge,
                "driven gear",
                (("teeth", teeth),),
                fitted.driven / teeth,
                available=True if teeth == fitted.driven else family.has_driven(teeth) if family else None,
                orientation=family.orientation(teeth) if family else None,
                is_fitted=teeth == fitted.driven,
            )
        )
    return ranked(judge, choices, _SHOWN_TEETH)


def drive_choices(judge: Judge, vehicle: Vehicle, fitted: FittedTeeth) -> tuple[Choice, ...]:
    """Return drive gears, best first; an indicated speed goes with the teeth."""
    if fitted.drive is None:
        return ()
    family = vehicle.family
    turned = family.orientation(fitted.driven) if family and fitted.driven else None
    choices = []
    for teeth in sorted({*_FREE_DRIVE, *(family.drive.teeth if family and family.drive else ()), fitted.drive}):
        choices.append(
            judge_choice(
                judge,
                "drive gear",
                (("teeth", teeth),),
                teeth / fitted.drive,
                available=True if teeth == fitted.drive else family.has_drive(teeth) if family else None,
                orientation=turned,
                is_fitted=teeth == fitted.drive,
            )
        )
    return ranked(judge, choices, _SHOWN_TEETH)


def pair_choices(judge: Judge, vehicle: Vehicle, fitted: FittedTeeth) -> tuple[Choice, ...]:
    """Return drive and driven gears changed together, best first; only gears that the family has."""
    family = vehicle.family
    if fitted.driven is None or fitted.drive is None or family is None or not (family.driven and family.drive):
        return ()
    now = Fraction(fitted.drive, fitted.driven)
    gains = {
        (drive, driven): float(Fraction(drive, driven) / now)
        for drive in family.drive.teeth
        for driven in family.driven.teeth
        if drive != fitted.drive and driven != fitted.driven
    }
    near = sorted(gains, key=lambda pair: (judge.worst_error(gains[pair]), pair))[: 8 * _SHOWN_PAIRS]
    choices = [
        judge_choice(
            judge,
            "pair",
            (("drive_gear", drive), ("driven_gear", driven)),
            gains[drive, driven],
            available=True,
            orientation=family.orientation(driven),
        )
        for drive, driven in near
    ]
    return ranked(judge, choices, _SHOWN_PAIRS)


def ratio_box_choices(judge: Judge, vehicle: Vehicle) -> tuple[Choice, ...]:
    """Return boxes of two gears in the cable, best first, from the teeth that the job says exist."""
    fitted = vehicle.ratio_box or Fraction(1)
    ratios: dict[Fraction, tuple[int, int]] = {}
    for driver in vehicle.ratio_box_teeth:
        for follower in vehicle.ratio_box_teeth:
            ratio = Fraction(driver, follower)
            if ratio != fitted and _LEAST_BOX <= ratio <= _MOST_BOX:
                ratios.setdefault(ratio, (driver, follower))
    choices = [
        judge_choice(
            judge,
            "ratio box",
            (("ratio", f"{driver}/{follower}"), ("driver_teeth", driver), ("follower_teeth", follower)),
            float(ratio / fitted),
            available=True,
        )
        for ratio, (driver, follower) in ratios.items()
    ]
    return ranked(judge, choices, _SHOWN_TEETH)


def scaler_choices(judge: Judge, vehicle: Vehicle) -> tuple[Choice, ...]:
    """Return settings of a pulse scaler: the decimals and the fractions on both sides of the ideal, best first."""
    limits = vehicle.scaler_limits
    if limits is None:
        return ()
    fitted = vehicle.pulse_scaler or Fraction(1)
    wanted = float(fitted) * judge.ideal_gain().value
    choices = [
        judge_choice(judge, "pulse scaler", parts, float(value / fitted), available=True, is_fitted=value == fitted)
        for value, parts in _scaler_settings(limits, wanted)
    ]
    return ranked(judge, choices, len(choices), with_chance=False)


def _scaler_settings(limits: ScalerLimits, wanted: float) -> Iterable[tuple[Fraction, tuple[tuple[str, object], ...]]]:
    tick = Fraction(1, 10**limits.decimals)
    for steps in (math.floor(wanted / tick), math.ceil(wanted / tick)):
        if steps > 0:
            yield steps * tick, (("scaler", float(steps * tick)), ("fraction", None))
    for fraction in limits.fractions_near(wanted):
        yield fraction, (("scaler", float(fraction)), ("fraction", f"{fraction.numerator}/{fraction.denominator}"))


def setting_choices(judge: Judge, vehicle: Vehicle, effective: EffectiveTire | None) -> tuple[Choice, ...]:
    """Return numbers to type into the module, best first: the settable ones on both sides of the ideal."""
    choices: list[Choice] = []
    for setting in vehicle.settings:
        now = setting.now
        if now is None and effective is not None and effective.is_absolute:
            now = _present(judge, setting, effective)
        if now is not None:
            choices += _setting_steps(judge, setting, now)
    return ranked(judge, choices, len(choices), with_chance=False)


def _present(judge: Judge, setting: Setting, effective: EffectiveTire) -> float | None:
    """Return the setting that the module must hold now, given what it shows; None when it cannot be told."""
    true_setting = setting.for_circumference(effective.circumference_m.value)
    return None if true_setting is None else true_setting * judge.calibration.error_factor.value**setting.power


def _setting_steps(judge: Judge, setting: Setting, now: float) -> list[Choice]:
    wanted = now * judge.ideal_gain().value ** setting.power
    step = Fraction(str(setting.step))
    steps = {math.floor(wanted / step), math.ceil(wanted / step)}
    values = [float(n * step) for n in sorted(steps) if n > 0 and setting.low <= float(n * step) <= setting.high]
    return [
        judge_choice(
            judge,
            "setting",
            (("setting", setting.kind), ("value", value), ("step", setting.step), ("now", setting.now)),
            (value / now) ** setting.power,
            available=True,
            is_fitted=value == setting.now,
        )
        for value in values
    ]


def ranked(judge: Judge, choices: list[Choice], most: int, *, with_chance: bool = True) -> tuple[Choice, ...]:
    """Return choices by the criterion, those that do not exist last; what is fitted always stays in the list.

    Choices that nobody can buy take no part in the chance of being the best.
    """
    order = sorted(choices, key=lambda c: (c.available is False, judge.loss(c.gain), c.gain))
    if with_chance:
        real = [choice for choice in order if choice.available is not False]
        chances = dict(zip((id(c) for c in real), judge.probabilities_best([c.gain for c in real]), strict=True))
        order = [replace(choice, probability_best=chances.get(id(choice), 0.0)) for choice in order]
    missing = [
        choice for choice in order if choice.available is False and judge.loss(choice.gain) < judge.loss(order[0].gain)
    ]
    shown = [choice for choice in order if choice.available is not False][:most]
    kept = [choice for choice in order if choice.is_fitted and choice not in shown]
    return tuple(shown + kept + missing[:2])
