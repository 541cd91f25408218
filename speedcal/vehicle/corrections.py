"""From a calibration and a vehicle to what can be done about the error."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from speedcal.calibration.result import Calibration
from speedcal.errors import check_kind
from speedcal.finding import Finding
from speedcal.interval import FloatArray, Interval
from speedcal.units import DisplayUnit, check_display_unit
from speedcal.vehicle.advised.advice import Advice
from speedcal.vehicle.advised.drives_apart import drives_apart
from speedcal.vehicle.advised.first_steps import after_falls
from speedcal.vehicle.advised.outlook import Outlook
from speedcal.vehicle.advised.recommendation import advise
from speedcal.vehicle.advised.righting import as_if_right, followed_by, righting_gain, turning_gain
from speedcal.vehicle.choices.choice import Choice
from speedcal.vehicle.choices.fitted import brought_by, is_fitted_after
from speedcal.vehicle.choices.found_choices import FoundChoices, find_choices
from speedcal.vehicle.choices.other_ranges import OtherRange, other_ranges
from speedcal.vehicle.choices.undoing import StateBefore
from speedcal.vehicle.diagnosed.diagnosis import Diagnosis, diagnose
from speedcal.vehicle.drivetrain import Determination, EffectiveTire, solve_train
from speedcal.vehicle.judged.limits import Limits
from speedcal.vehicle.vehicle import Criterion, Vehicle, Work
from speedcal.wording import Spoken

_AT_THE_GEARS = ("driven_gear", "drive_gear", "gears", "housing")
"""Parts of an advice for which somebody has the gears in hand."""


@dataclass(frozen=True, slots=True)
class Corrections(Spoken):
    """What the drive says about the vehicle, and every change that would put the instrument right, best first.

    Examples
    --------
    >>> import speedcal
    >>> track = speedcal.read_track("data_demo/before.gpx")
    >>> before = speedcal.calibrate(track, speedcal.read_readings("data_demo/before_notes.csv"))
    >>> found = speedcal.correct(before, speedcal.Vehicle.from_dict({"driven_gear": 19}), criterion="never reads low")
    >>> found.driven_gear[0].to_dict()["teeth"]
    22
    """

    unit: DisplayUnit
    speeds: tuple[float, ...]
    """Ground speeds the choices were judged at, in ``unit``."""
    criterion: Criterion
    acceptable_percent: float
    ideal_gain: Interval
    """Change of gain that would be chosen if any could be had."""
    effective_tire: EffectiveTire | None
    train: Determination
    keep: Choice
    driven_gear: tuple[Choice, ...]
    drive_gear: tuple[Choice, ...]
    pairs: tuple[Choice, ...]
    ratio_box: tuple[Choice, ...]
    pulse_scaler: tuple[Choice, ...]
    settings: tuple[Choice, ...]
    best: Choice | None
    """The least work that is acceptable; the smallest error when nothing is. None when nothing can be changed."""
    ideal_driven_teeth: Interval | None
    """Driven gear, in parts of a tooth, that would be chosen; None when the fitted one is unknown."""
    is_driven: bool = True
    """False when everything comes from the facts of the vehicle, without a drive."""
    advice: tuple[Advice, ...] = ()
    """What to do, the first on top; where a unit or a pulse count must be right first, all choices are for then."""
    diagnosis: Diagnosis | None = None
    """What is wrong; None without a drive."""
    other_ranges: tuple[OtherRange, ...] = ()
    notes: tuple[tuple[str, str], ...] = ()
    """What to mind at the gears, where the advice is about them: text and source, from the data file of the family."""
    findings: tuple[Finding, ...] = ()
    of_odometer: bool = False
    """Whether the rule is on the odometer: a distance proves that it is kept, and no speed that is held."""
    is_driven_since: bool = False
    """Whether the work that this asked for was done and driven: what is left to do is told by that drive."""

    def to_dict(self) -> dict[str, Any]:
        """Return the result in the form other programs rely on, ready for JSON."""
        ideal = self.ideal_driven_teeth
        return {
            "speed_unit": self.unit,
            "speeds": list(self.speeds),
            "criterion": self.criterion,
            "acceptable_percent": self.acceptable_percent,
            "from_a_drive": self.is_driven,
            "advice": [entry.to_dict() for entry in self.advice],
            "driven_since": self.is_driven_since,
            "diagnosis": self.diagnosis.to_dict() if self.diagnosis else None,
            "effective_tire": self.effective_tire.to_dict() if self.effective_tire else None,
            "ideal_gain": self.ideal_gain.to_dict(),
            "ideal_driven_teeth": ideal.to_dict(digits=3) if ideal else None,
            "keep": self.keep.to_dict(),
            **{name: [choice.to_dict() for choice in choices] for name, choices in self.lists().items()},
            "best": {"kind": self.best.kind, "name": str(self.best), **self.best.to_dict()} if self.best else None,
            "gear_train": self.train.to_dict(),
            "other_ranges": [other.to_dict() for other in self.other_ranges],
            "notes": [{"text": text, "source": source} for text, source in self.notes],
            "findings": [finding.to_dict() for finding in self.findings],
        }

    def lists(self) -> dict[str, tuple[Choice, ...]]:
        """Return the choices by kind, each list best first."""
        names = ("driven_gear", "drive_gear", "pairs", "ratio_box", "pulse_scaler", "settings")
        return {name: getattr(self, name) for name in names}

    def after(self, work: Work, *, is_driven: bool) -> Corrections:
        """Return the same with the parts marked as fitted that are fitted after the work, and its road test to drive.

        Parameters
        ----------
        is_driven
            Whether there is a drive after the work: then it is that which says what to do next.
        """

        def marked(choice: Choice) -> Choice:
            return replace(choice, is_fitted=is_fitted_after(choice, work.changes))

        lists: dict[str, Any] = {name: tuple(map(marked, choices)) for name, choices in self.lists().items()}
        advice = self.advice if is_driven or work.is_nothing else (self._road_test_of(work),)
        best = self.best and marked(self.best)
        return replace(self, keep=marked(self.keep), best=best, advice=advice, is_driven_since=is_driven, **lists)

    def _road_test_of(self, work: Work) -> Advice:
        """Return driving the road test of some work, with what this leads one to expect of it."""
        asks = "work_to_test_by_distance" if self.of_odometer else "work_to_test"
        why = (Finding(asks, work=work, unit=self.unit),)
        choice = None if work.needle or work.instrument_repaired else brought_by(self.lists().values(), work.changes)
        if choice is None:
            return Advice("drive_again", part="road_test", because=why)
        worst, chance = choice.worst_error_percent, choice.probability_passes
        leaves = Finding("work_leaves", percent=worst, chance=chance, is_driven=self.is_driven)
        return Advice(
            "drive_again", part="road_test", worst_error_percent=worst, probability=chance, because=(*why, leaves)
        )


def correct(
    calibration: Calibration | None,
    vehicle: Vehicle,
    *,
    speeds: Sequence[float] | FloatArray | None = None,
    criterion: Criterion | None = None,
    limits: Limits | None = None,
    unit: DisplayUnit = "mph",
) -> Corrections:
    """Find what can be fitted, set or kept, judged by the predicted errors at the customer's speeds.

    Gears, scalers and settings change the speed of the instrument's shaft by a factor g; afterwards the dial shows at
    a true speed v what it showed before at g v. An offset or a bend of the dial stays. Every choice is judged under
    the joint distribution of the readings at the customer's speeds.

    Parameters
    ----------
    calibration
        The drive before the work; None judges by the facts of the vehicle alone.
    vehicle
        What is known of the gear train; what is unknown only narrows the answer.
    speeds
        Ground speeds that matter, in the display unit; None takes :func:`driven_speeds`.
    criterion
        ``smallest worst error``, ``never reads low`` or ``odometer first``; None takes the vehicle's.
    limits
        What may be shown at true speeds, such as a rule allows; None takes the acceptable error of the vehicle, and
        never low where the criterion says so.
    unit
        Display unit when there is no calibration.

    Raises
    ------
    ValueError
        A speed is not above zero, or ``unit`` or ``criterion`` is another.
    VehicleError
        There is no drive, and the vehicle states too little to go without.

    Examples
    --------
    >>> import speedcal
    >>> track = speedcal.read_track("data_demo/before.gpx")
    >>> before = speedcal.calibrate(track, speedcal.read_readings("data_demo/before_notes.csv"))
    >>> vehicle = speedcal.Vehicle.from_dict({"driven_gear": 19, "criterion": "never reads low"})
    >>> speedcal.correct(before, vehicle, speeds=[30, 60]).best.to_dict()["teeth"]
    22
    """
    check_kind("vehicle", vehicle, Vehicle)
    check_display_unit(unit)
    diagnosis = diagnose(calibration, vehicle) if calibration is not None else None
    found = correct_diagnosed(
        calibration, vehicle, diagnosis, speeds=speeds, criterion=criterion, limits=limits, unit=unit
    )
    if calibration is None:
        return found
    return replace(found, advice=(*after_falls(calibration), *drives_apart(calibration, "before"), *found.advice))


def correct_diagnosed(
    calibration: Calibration | None,
    vehicle: Vehicle,
    diagnosis: Diagnosis | None,
    *,
    speeds: Sequence[float] | FloatArray | None = None,
    criterion: Criterion | None = None,
    limits: Limits | None = None,
    unit: DisplayUnit = "mph",
    may_keep: bool = True,
    before: StateBefore | None = None,
) -> Corrections:
    """Return what :func:`correct` does, where it is known already what is wrong; None for nothing.

    Parameters and errors are those of :func:`correct`; without ``may_keep`` a road test has told that it cannot stay
    as it is, and ``before`` is what undoing the latest work leads back to.
    """
    found = find_choices(
        calibration,
        vehicle,
        is_needle_off=_is_cause(diagnosis, "needle_offset"),
        speeds=speeds,
        criterion=criterion,
        limits=limits,
        unit=unit,
    )
    trust = calibration.trust if calibration else None
    outlook = Outlook(
        found.judge, vehicle, found.keep, found.every, found.teeth, diagnosis, found.measure, trust, may_keep, before
    )
    advice = advise(outlook)
    factor = found.judge.dial.line.error_factor
    gain = righting_gain(diagnosis, factor) or turning_gain(diagnosis, vehicle, factor)
    if calibration is None or gain is None or not advice[0].rights_what_is_told:
        return _corrections(found, diagnosis, advice)
    right = as_if_right(calibration, gain, pointer_only=_is_cause(diagnosis, "other_scale"))
    then = correct_diagnosed(
        right,
        vehicle,
        diagnose(right, vehicle),
        speeds=found.judge.speeds,
        criterion=found.judge.criterion,
        limits=limits,
        may_keep=may_keep,
    )
    return _once_right(then, found.keep, diagnosis, advice)


def _once_right(
    then: Corrections, keep: Choice, diagnosis: Diagnosis | None, advice: tuple[Advice, ...]
) -> Corrections:
    """Return what is to be done once a unit or a count of pulses is right, with that on top."""
    left = tuple(
        Finding(found.code, **{**found.values, "once_right": True}) if found.code == "speeds_not_driven" else found
        for found in then.findings
        if found.code != "acceptable_as_is"
    )
    settings = () if "number_of_other_unit" in advice[0].codes else then.settings  # figured from the wrong number
    shown = followed_by(advice, then.advice)
    return replace(then, keep=keep, diagnosis=diagnosis, advice=shown, findings=left, settings=settings)


def _corrections(found: FoundChoices, diagnosis: Diagnosis | None, advice: tuple[Advice, ...]) -> Corrections:
    judge, vehicle = found.judge, found.vehicle
    return Corrections(
        unit=judge.unit,
        speeds=judge.speeds,
        criterion=judge.criterion,
        acceptable_percent=judge.acceptable_percent,
        ideal_gain=judge.ideal_gain,
        effective_tire=found.effective,
        train=solve_train(found.calibration, vehicle),
        keep=found.keep,
        best=found.best,
        ideal_driven_teeth=found.exact_teeth,
        is_driven=found.calibration is not None,
        advice=advice,
        diagnosis=diagnosis,
        other_ranges=other_ranges(judge, vehicle),
        notes=vehicle.family.notes if vehicle.family and any(e.part in _AT_THE_GEARS for e in advice) else (),
        findings=found.findings(),
        of_odometer=judge.is_of_odometer,
        is_driven_since=False,  # said for the sake of the types of what follows
        **found.lists,
    )


def _is_cause(diagnosis: Diagnosis | None, code: str) -> bool:
    return diagnosis is not None and diagnosis.top is not None and diagnosis.top.code == code
