"""Running a job in two steps: measuring its drives, and deriving all that they carry."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from speedcal.errors import JobError, SpeedcalError
from speedcal.jobs.contents import Drive, JobContents
from speedcal.jobs.measured_drive import (
    as_driven,
    calibrated,
    calibrated_checks,
    checks_of,
    is_of_machine,
    readings_of,
    track_of,
)
from speedcal.jobs.output import JobResult
from speedcal.report import DriveFacts
from speedcal.text.codes.job_messages import step_name
from speedcal.units import DisplayUnit, display_unit_of

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration
    from speedcal.conformity import History, Verification
    from speedcal.vehicle import Corrections, Vehicle
    from speedcal.vehicle.diagnosed.explanations import Explanations

Progress = Callable[[str, float], None]
"""Called with what is being done and the part of the job that is behind, 0 to 1."""
Phase = Literal["before", "after"]
PHASES: tuple[Phase, ...] = ("before", "after")
_MEASURING = 0.7
"""Part of a job's time that its drives take."""


@dataclass(frozen=True)
class MeasuredJob:
    """The drives of a job, measured and pooled; nothing is chosen or judged yet."""

    job: JobContents
    drives_before: tuple[DriveFacts, ...]
    drives_after: tuple[DriveFacts, ...]
    before: Calibration | None
    """The drive before the work, or several pooled."""
    after: Calibration | None

    @property
    def drives(self) -> tuple[DriveFacts, ...]:
        """Every drive, those before the work first."""
        return self.drives_before + self.drives_after

    @property
    def dial_unit(self) -> DisplayUnit | None:
        """What the dial is marked in: as it was noted, else as the job says, else as logged; None where nothing tells.

        What a machine logs says nothing of the dial: many a log of a dial in mph is in km/h.
        """
        noted = (drive.noted_in for drive in self.drives if not drive.is_logged and drive.noted_in)
        logged = (drive.noted_in for drive in self.drives if drive.is_logged)
        return next(noted, None) or self.job.unit or next(logged, None)

    @property
    def histories(self) -> tuple[tuple[str, History], ...]:
        """The dated drives of each phase in order of time, where there are several."""
        from speedcal.conformity import history

        phases = (("before", self.drives_before), ("after", self.drives_after))
        groups = [(name, [drive for drive in drives if drive.is_dated]) for name, drives in phases]
        return tuple(
            (name, history([drive.calibration for drive in drives], days=[drive.date for drive in drives]))
            for name, drives in groups
            if len(drives) > 1
        )

    @property
    def corrections(self) -> Corrections | None:
        """What the drive before asks for, or the facts of the vehicle where nothing was driven.

        Judged at the speeds of the job.
        """
        from speedcal.vehicle import Vehicle, correct

        job = self.job
        if self.before is None and (self.after is not None or job.vehicle is None):
            return None
        unit = self.before.unit if self.before else job.unit or "mph"
        speeds, limits = job.speeds_in(unit), job.limits_in(unit)
        found = correct(self.before, job.vehicle or Vehicle(), speeds=speeds, limits=limits, unit=unit)
        return found.after(job.work, is_driven=self.after is not None) if job.work else found

    @property
    def explanations(self) -> Explanations | None:
        """What would explain the error, where the job states a tire or an axle to start from."""
        from speedcal.vehicle.diagnosed.explanations import explain

        vehicle = self.job.vehicle
        if self.before is None or vehicle is None or (vehicle.tire or vehicle.tire_before or vehicle.axle) is None:
            return None
        return explain(self.before, vehicle)

    @property
    def verification(self) -> Verification | None:
        """The verdict on the drive after, where the job has one and a rule."""
        from speedcal.conformity import verify

        job = self.job
        if self.after is None or job.tolerance is None:
            return None
        return verify(self.before, self.after, job.tolerance, vehicle=job.vehicle, work=job.work)


def measure_job(
    job: JobContents, *, phases: tuple[Phase, ...] = PHASES, progress: Progress | None = None
) -> MeasuredJob:
    """Measure the drives of a job.

    Parameters
    ----------
    progress
        Called before each drive.

    Raises
    ------
    SpeedcalError
        There is no such drive, a file cannot be read, or a drive does not carry a calibration.
    """
    measured, refused = measure_usable(job, phases=phases, progress=progress)
    if measured is None or refused:
        raise refused[0]
    return measured


def measure_usable(
    job: JobContents, *, phases: tuple[Phase, ...] = PHASES, progress: Progress | None = None
) -> tuple[MeasuredJob | None, tuple[SpeedcalError, ...]]:
    """Measure those drives of a job that can be used.

    Parameters
    ----------
    progress
        Called before each drive.

    Returns
    -------
    tuple
        The job as these drives have it, None where neither drives nor facts of the vehicle are left or where the
        drives contradict each other; and what was refused, in the order of the job.

    Raises
    ------
    JobError
        There is no such drive.
    """
    tell: Progress = progress or (lambda _step, _part: None)
    drives = {"before": job.before, "after": job.after}
    named = [(phase, *pair) for phase in phases for pair in _named(phase, drives[phase])]
    if not named and (job.vehicle is None or phases != PHASES):
        raise JobError("job_without_drive", source=job.source.name)
    unit = job.unit
    done: dict[str, list[DriveFacts]] = {phase: [] for phase in PHASES}
    refused: list[SpeedcalError] = []
    for i, (phase, name, drive) in enumerate(named):
        tell(step_name("measuring", name), _MEASURING * i / len(named))
        try:
            measured = _measure(name, drive, unit, vehicle_on(job, phase))
        except SpeedcalError as error:
            error.values |= _shared_with(drive, ((other, it) for _, other, it in named if it is not drive))
            refused.append(error)
            continue
        unit = unit or measured.calibration.unit
        done[phase].append(measured)
    stated = {name for _, name, drive in named if drive.clock_offset_s is not None}
    try:
        refused += _without_doubles(done, stated)
    except JobError as error:
        return None, (*refused, error)
    if not (any(done.values()) or job.vehicle):
        return None, tuple(refused)
    return MeasuredJob(
        job=job,
        drives_before=tuple(done["before"]),
        drives_after=tuple(done["after"]),
        before=_pooled(done["before"]),
        after=_pooled(done["after"]),
    ), tuple(refused)


def analyse_job(measured: MeasuredJob, *, progress: Progress | None = None) -> JobResult:
    """Derive all that the drives of a job carry: corrections, explanations, verdict, history."""
    tell: Progress = progress or (lambda _step, _part: None)
    tell(step_name("choosing"), _MEASURING)
    corrections, explanations = measured.corrections, measured.explanations
    tell(step_name("judging"), 0.5 + 0.5 * _MEASURING)
    result = JobResult(
        job=measured.job,
        drives=measured.drives,
        before=measured.before,
        after=measured.after,
        corrections=corrections,
        explanations=explanations,
        verification=measured.verification,
        histories=measured.histories,
    )
    tell(step_name("done"), 1.0)
    return result


def vehicle_on(job: JobContents, phase: Phase) -> Vehicle | None:
    """Return the vehicle as it was on a drive of that phase."""
    from speedcal.vehicle.forward import vehicle_after

    if job.vehicle is None or phase == "before" or job.work is None:
        return job.vehicle
    return vehicle_after(job.vehicle, job.work)


def _named(name: str, drives: tuple[Drive, ...]) -> list[tuple[str, Drive]]:
    return [(name if len(drives) == 1 else f"{name} {i}", drive) for i, drive in enumerate(drives, start=1)]


def _measure(name: str, drive: Drive, unit: DisplayUnit | None, vehicle: Vehicle | None) -> DriveFacts:
    try:
        drive = as_driven(drive)
        return _from_checks(name, drive, unit, vehicle) if drive.checks else _from_track(name, drive, unit, vehicle)
    except SpeedcalError as error:
        error.values = {**error.values, "of_drive": name}  # a job has several files
        error.told_at(f"[{name.partition(' ')[0]}]")  # and no options
        raise


def _shared_with(drive: Drive, others: Iterable[tuple[str, Drive]]) -> dict[str, str]:
    """Return which other drive is given the readings of this one: a file is named twice sooner than a foreign one."""
    own = drive.readings, drive.session
    return next(({"readings_of": name} for name, it in others if it.readings and (it.readings, it.session) == own), {})


def _from_checks(name: str, drive: Drive, unit: DisplayUnit | None, vehicle: Vehicle | None) -> DriveFacts:
    calibration = calibrated_checks(checks_of(drive, vehicle), unit=unit, vehicle=vehicle)
    return DriveFacts(name=name, calibration=calibration, has_date=False, date=drive.date, noted=drive.noted)


def _from_track(name: str, drive: Drive, unit: DisplayUnit | None, vehicle: Vehicle | None) -> DriveFacts:
    track, readings = track_of(drive), readings_of(drive, unit)
    return DriveFacts(
        name=name,
        calibration=calibrated(track, readings, drive, unit=unit, vehicle=vehicle),
        has_date=track.has_date,
        date="" if track.has_date else drive.date,
        noted=drive.noted,
        noted_in=drive.dial_unit or display_unit_of(readings.speed_unit),
        is_logged=drive.dial_unit is None and is_of_machine(readings, drive.read_from),
    )


def _without_doubles(done: dict[str, list[DriveFacts]], stated: set[str]) -> list[SpeedcalError]:
    """Take the second of two drives that are one out of those measured, and return what it is refused for."""
    from speedcal.conformity.mixups import check_drives

    refused: list[SpeedcalError] = []
    while True:
        try:
            check_drives(done["before"], done["after"], clock_stated=stated)
        except JobError as error:
            if error.code not in ("duplicate_drive", "drives_at_once"):
                raise
            refused.append(error)
            for phase, drives in done.items():
                done[phase] = [drive for drive in drives if drive.name != error.values["second"]]
        else:
            return refused


def _pooled(drives: list[DriveFacts]) -> Calibration | None:
    from speedcal.conformity import pool

    return pool([drive.calibration for drive in drives]) if drives else None
