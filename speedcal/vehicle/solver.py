"""From a calibration and a vehicle to what can be done about the error."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from speedcal.calibration.result import Calibration
from speedcal.finding import Finding
from speedcal.interval import FloatArray, Interval, tidy
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit
from speedcal.vehicle.choosing import best_of, findings_for
from speedcal.vehicle.drivetrain import Determination, EffectiveTire, effective_tire, solve_train, train_findings
from speedcal.vehicle.options import (
    drive_choices,
    driven_choices,
    fitted_teeth,
    pair_choices,
    ratio_box_choices,
    scaler_choices,
    setting_choices,
)
from speedcal.vehicle.ranking import Choice, Judge, judge_choice
from speedcal.vehicle.vehicle import Criterion, Vehicle


@dataclass(frozen=True, slots=True)
class Corrections:
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
    notes: tuple[tuple[str, str], ...] = ()
    """What to mind at the bench: text and source."""
    findings: tuple[Finding, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the result in the form other programs rely on, ready for JSON."""
        ideal = self.ideal_driven_teeth
        return {
            "speed_unit": self.unit,
            "speeds": list(self.speeds),
            "criterion": self.criterion,
            "acceptable_percent": self.acceptable_percent,
            "effective_tire": self.effective_tire.to_dict() if self.effective_tire else None,
            "ideal_gain": self.ideal_gain.to_dict(),
            "ideal_driven_teeth": ideal.to_dict(digits=3) if ideal else None,
            "keep": self.keep.to_dict(),
            "driven_gear": [choice.to_dict() for choice in self.driven_gear],
            "drive_gear": [choice.to_dict() for choice in self.drive_gear],
            "pairs": [choice.to_dict() for choice in self.pairs],
            "ratio_box": [choice.to_dict() for choice in self.ratio_box],
            "pulse_scaler": [choice.to_dict() for choice in self.pulse_scaler],
            "settings": [choice.to_dict() for choice in self.settings],
            "best": {"kind": self.best.kind, "name": self.best.name, **self.best.to_dict()} if self.best else None,
            "gear_train": self.train.to_dict(),
            "notes": [{"text": text, "source": source} for text, source in self.notes],
            "findings": [finding.to_dict() for finding in self.findings],
        }

    def __str__(self) -> str:
        lines = [
            f"best: {self.best}" if self.best else "best: nothing on this vehicle can be changed as far as the job says"
        ]
        lines.append(f"as it is: worst error {self.keep.worst_error_percent:.1f} %")
        lines += [str(self.effective_tire)] if self.effective_tire else []
        if self.ideal_driven_teeth:
            lines.append(f"driven gear wanted, in parts of a tooth: {self.ideal_driven_teeth}")
        for choices in (
            self.driven_gear,
            self.drive_gear,
            self.pairs,
            self.ratio_box,
            self.pulse_scaler,
            self.settings,
        ):
            lines += [_row(choice) for choice in choices[:5]]
        lines.append(f"judged by: {self.criterion}, at {', '.join(f'{v:g}' for v in self.speeds)} {self.unit}")
        lines += [f"note: {text} ({source})" for text, source in self.notes]
        lines += [f"note: {finding.text}" for finding in self.findings]
        return "\n".join(lines)


def _row(choice: Choice) -> str:
    words = [f"  {choice.name:<38} worst {choice.worst_error_percent:5.2f} %"]
    if choice.probability_best is not None:
        words.append(f"best with {100 * choice.probability_best:3.0f} %")
    words += [choice.low_text] if choice.low_text else []
    words += ["not in the gear family"] if choice.available is False else []
    words += [f"housing: range {choice.orientation} down"] if choice.orientation else []
    words += ["fitted now"] if choice.is_fitted else []
    return ", ".join(words)


def correct(
    calibration: Calibration,
    vehicle: Vehicle,
    *,
    speeds: Sequence[float] | FloatArray | None = None,
    criterion: Criterion | None = None,
) -> Corrections:
    """Find what can be fitted, set or kept, judged by the predicted errors at the customer's speeds.

    Gears, scalers and settings change the gain only; the offset of the needle stays. Every choice is therefore
    judged by a + g b v over the speeds with the joint covariance of (a, b), not by b alone.

    Parameters
    ----------
    calibration
        The drive before the work.
    vehicle
        What is known of the gear train; what is unknown only narrows the answer.
    speeds
        Ground speeds that matter, in the display unit of the calibration; None takes :func:`driven_speeds`.
    criterion
        ``smallest worst error``, ``never reads low`` or ``odometer first``; None takes the vehicle's.

    Raises
    ------
    ValueError
        A speed is not above zero.

    Examples
    --------
    >>> import speedcal
    >>> track = speedcal.read_track("data_demo/before.gpx")
    >>> before = speedcal.calibrate(track, speedcal.read_readings("data_demo/before_notes.csv"))
    >>> vehicle = speedcal.Vehicle.from_dict({"driven_gear": 19, "criterion": "never reads low"})
    >>> print(speedcal.correct(before, vehicle, speeds=[30, 60]).best)
    driven gear 22: worst error ... %
    """
    judge = Judge(
        calibration=calibration,
        speeds=tuple(float(v) for v in speeds) if speeds is not None else driven_speeds(calibration),
        criterion=criterion or vehicle.criterion,
        acceptable_percent=vehicle.acceptable_percent,
    )
    teeth = fitted_teeth(calibration, vehicle)
    driven = driven_choices(judge, vehicle, teeth)
    drive = drive_choices(judge, vehicle, teeth)
    effective = effective_tire(calibration, vehicle)
    keep = judge_choice(judge, "keep", (("work", "none"),), 1.0, is_fitted=True, available=True)
    lists = {
        "settings": setting_choices(judge, vehicle, effective),
        "pulse_scaler": scaler_choices(judge, vehicle),
        "driven_gear": driven,
        "drive_gear": drive,
        "pairs": pair_choices(judge, vehicle, teeth),
        "ratio_box": ratio_box_choices(judge, vehicle),
    }
    best = best_of(judge, keep, list(lists.values()))
    rivals = next((choices for choices in lists.values() if best in choices), ())
    ideal = judge.ideal_gain()
    exact = None if teeth.driven is None else _reciprocal(ideal, teeth.driven)
    findings = [
        *train_findings(calibration, vehicle, effective),
        *teeth.findings,
        *_family_findings(vehicle, shown=bool(driven or drive)),
        *findings_for(judge, vehicle, keep=keep, best=best, rivals=rivals, exact_teeth=exact),
    ]
    return Corrections(
        unit=calibration.unit,
        speeds=judge.speeds,
        criterion=judge.criterion,
        acceptable_percent=judge.acceptable_percent,
        ideal_gain=ideal,
        effective_tire=effective,
        train=solve_train(calibration, vehicle),
        keep=keep,
        best=best,
        ideal_driven_teeth=exact,
        notes=vehicle.family.notes if vehicle.family and (driven or drive) else (),
        findings=tuple(findings),
        **lists,
    )


def _family_findings(vehicle: Vehicle, *, shown: bool) -> list[Finding]:
    text = vehicle.family.memory_text() if vehicle.family and shown else ""
    return [Finding("gear_family_from_memory", text)] if text else []


def driven_speeds(calibration: Calibration) -> tuple[float, ...]:
    """Return the speeds taken when nobody names any: round ones of the driven range, in the display unit.

    Not below 25 mph or 40 km/h, the lowest test speeds of SAE J2976 and UN R39, unless that leaves fewer than two: at
    walking pace a small needle offset is a large percentage and would decide the gear.
    """
    factor = SPEED_UNIT_MPS[calibration.unit]
    lowest = 25 if calibration.unit == "mph" else 40
    found = tuple(row["ground"] for row in calibration.error_table() if row["ground"] > 0)
    road = tuple(speed for speed in found if speed >= lowest)
    ends = tuple(tidy(v / factor, 1) for v in calibration.speed_range_mps if v > 0)
    return road if len(road) > 1 else found or ends


def _reciprocal(gain: Interval, teeth: int) -> Interval:
    return Interval(teeth / gain.value, teeth / gain.high, teeth / gain.low)
