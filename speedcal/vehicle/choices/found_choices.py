"""Every choice that a vehicle has, judged by one dial, before anything is advised."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from speedcal.calibration.judged.noticed import READS_AS_GPS
from speedcal.calibration.result import Calibration
from speedcal.finding import Finding
from speedcal.interval import FloatArray, Interval
from speedcal.units import DisplayUnit
from speedcal.vehicle.choices import options
from speedcal.vehicle.choices.best_choice import best_of, findings_for
from speedcal.vehicle.choices.choice import Choice, judge_choice
from speedcal.vehicle.choices.facts_only import FactsDial, best_measurement, dial_from_facts
from speedcal.vehicle.choices.judged_vehicle import judge_of
from speedcal.vehicle.diagnosed.evidence import with_needle_off
from speedcal.vehicle.drivetrain import EffectiveTire, effective_tire, train_findings
from speedcal.vehicle.judged.judge import Judge
from speedcal.vehicle.judged.limits import Limits
from speedcal.vehicle.vehicle import Criterion, Vehicle


@dataclass(frozen=True)
class FoundChoices:
    """What can be fitted, set or kept, and what each would leave."""

    calibration: Calibration | None
    vehicle: Vehicle
    known: FactsDial | None
    """What the facts lead one to expect, where there is no drive."""
    judge: Judge
    teeth: options.FittedTeeth
    effective: EffectiveTire | None
    keep: Choice
    every: dict[str, list[Choice]]
    """Choices by kind, in the order of the parts."""

    @cached_property
    def lists(self) -> dict[str, tuple[Choice, ...]]:
        """Return the choices by kind, each list best first; what a tachograph hangs on is not for a shop to change."""
        sealed = self.vehicle.tachograph
        return {kind: () if sealed else options.ranked(self.judge, choices) for kind, choices in self.every.items()}

    @cached_property
    def has_gears(self) -> bool:
        """Whether a driven or drive gear is among the choices."""
        lists = self.lists
        return bool(lists["driven_gear"] or lists["drive_gear"])

    @cached_property
    def best(self) -> Choice | None:
        """The least work that is acceptable; the smallest error when nothing is."""
        return best_of(self.judge, self.keep, list(self.lists.values()), has_keep=not self.teeth.is_guess)

    @cached_property
    def exact_teeth(self) -> Interval | None:
        """Driven gear in parts of a tooth; None where the fitted one is unknown."""
        if self.teeth.driven is None:
            return None
        ideal, teeth = self.judge.ideal_gain, self.teeth.driven
        return Interval(teeth / ideal.value, teeth / ideal.high, teeth / ideal.low)

    @cached_property
    def measure(self) -> Finding | None:
        """The one measurement that would make the choice of a gear surer, where there is no drive."""
        exact = self.exact_teeth
        return best_measurement(self.known, exact.value, self.judge.criterion) if self.known and exact else None

    def findings(self) -> tuple[Finding, ...]:
        """Return what was noticed on the way to the choices."""
        calibration, vehicle = self.calibration, self.vehicle
        found = [
            *(self.known.assumptions if self.known else ()),
            *(_said_by_drive(calibration, vehicle, self.effective) if calibration is not None else ()),
            *self.teeth.findings,
            *(_from_memory(vehicle) if self.has_gears else ()),
        ]
        if not vehicle.tachograph:
            is_driven = calibration is not None and "no_drive" not in calibration.trust.codes
            found += findings_for(
                self.judge,
                vehicle,
                keep=self.keep,
                best=self.best,
                lists=self.lists,
                exact_teeth=self.exact_teeth,
                is_driven=is_driven,
            )
        return (*found, *([self.measure] if self.measure else []))


def _said_by_drive(calibration: Calibration, vehicle: Vehicle, effective: EffectiveTire | None) -> list[Finding]:
    """Return what the chain says, and first whether it is the dial that was logged: else nothing here is of it."""
    doubted = [found for found in calibration.findings if found.code == READS_AS_GPS]
    return [*doubted, *train_findings(calibration, vehicle, effective)]


def find_choices(
    calibration: Calibration | None,
    vehicle: Vehicle,
    *,
    is_needle_off: bool,
    speeds: Sequence[float] | FloatArray | None,
    criterion: Criterion | None,
    limits: Limits | None,
    unit: DisplayUnit,
) -> FoundChoices:
    """Judge every choice; the other parameters are those of :func:`speedcal.vehicle.correct`.

    Parameters
    ----------
    is_needle_off
        Whether the needle is what is wrong: then it is likelier far off than usual.
    """
    known = dial_from_facts(vehicle, unit) if calibration is None else None
    judged = with_needle_off(calibration) if calibration is not None and is_needle_off else calibration
    judge = judge_of(judged, known, vehicle, unit, speeds, criterion, limits)
    teeth = known.teeth if known else options.fitted_teeth(calibration, vehicle)
    effective = effective_tire(calibration, vehicle) if calibration is not None else None
    keep = judge_choice(judge, "keep", (("work", "none"),), 1.0, is_fitted=not teeth.is_guess, available=True)
    every, keep = options.with_chances(
        judge,
        {
            "settings": options.setting_choices(judge, vehicle, effective),
            "pulse_scaler": options.scaler_choices(judge, vehicle),
            "driven_gear": options.driven_choices(judge, vehicle, teeth),
            "ratio_box": options.ratio_box_choices(judge, vehicle),
            "drive_gear": options.drive_choices(judge, vehicle, teeth),
            "pairs": options.pair_choices(judge, vehicle, teeth),
        },
        keep,
    )
    return FoundChoices(calibration, vehicle, known, judge, teeth, effective, keep, every)


def _from_memory(vehicle: Vehicle) -> list[Finding]:
    family = vehicle.family
    unsure = family.from_memory() if family else []
    return [Finding("gear_family_from_memory", family=family.name, ranges=unsure)] if family and unsure else []
