"""Running a job: from its files to calibrations, corrections and a verdict, as far as the job has the parts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from speedcal.errors import JobError, SpeedcalError
from speedcal.jobs.job import Drive, Job, Progress
from speedcal.jobs.output import JobResult
from speedcal.report import DriveFacts
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit, SpeedUnit, display_unit_of

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration
    from speedcal.conformity import History, Verification
    from speedcal.logs.model import Readings
    from speedcal.vehicle import Corrections
    from speedcal.vehicle.explain import Explanations


def run_job(job: Job, *, progress: Progress | None = None) -> JobResult:
    """Analyse the drives of a job and derive all that they carry; see :meth:`Job.run`."""
    tell: Progress = progress or (lambda _step, _part: None)
    named = [*_named("before", job.before), *_named("after", job.after)]
    if not named:
        raise JobError(
            "the job has no drive",
            source=job.source.name,
            remedy="Add a [before] or an [after] table, or plan the drive",
        )
    steps = len(named) + 2
    unit = job.unit
    done: list[DriveFacts] = []
    for i, (name, drive) in enumerate(named):
        tell(f"measuring the drive {name}", i / steps)
        result = _measure(name, drive, unit)
        unit = unit or result.calibration.unit
        done.append(result)
    tell("choosing gears and settings", len(named) / steps)
    before = _pooled([r.calibration for r in done[: len(job.before)]])
    after = _pooled([r.calibration for r in done[len(job.before) :]])
    corrections = _corrections(job, before, after)
    tell("judging the drive after the work", (len(named) + 1) / steps)
    verification = _verification(job, before, after)
    tell("done", 1.0)
    return JobResult(
        job=job,
        drives=tuple(done),
        before=before,
        after=after,
        corrections=corrections,
        explanations=_explanations(job, before),
        verification=verification,
        histories=_histories(done[: len(job.before)], done[len(job.before) :]),
    )


def _named(name: str, drives: tuple[Drive, ...]) -> list[tuple[str, Drive]]:
    return [(name if len(drives) == 1 else f"{name} {i}", drive) for i, drive in enumerate(drives, start=1)]


def _measure(name: str, drive: Drive, unit: DisplayUnit | None) -> DriveFacts:
    from speedcal.calibration import calibrate
    from speedcal.logs import read_readings, read_track

    track = read_track(drive.track)
    if drive.readings is None:
        readings = held_readings(drive.held, drive.unit or unit or "mph")
    else:
        readings = read_readings(drive.readings, unit=drive.unit, column=drive.column, zone=drive.zone)
    try:
        calibration = calibrate(track, readings, unit=unit, clock_offset_s=drive.clock_offset_s)
    except SpeedcalError as error:
        raise type(error)(
            f"drive {name}: {error.problem}", source=error.source, line=error.line, remedy=error.remedy
        ) from None
    return DriveFacts(name=name, calibration=calibration, has_date=track.has_date)


def held_readings(speeds: tuple[float, ...], unit: SpeedUnit) -> Readings:
    """Return readings without times: speeds that were held one after the other."""
    from speedcal.logs.model import Readings

    values = np.asarray(speeds, float)
    step = next(
        s for s in (5.0, 2.0, 1.0, 0.5, 0.1, 0.01) if s == 0.01 or np.allclose(values / s, np.round(values / s))
    )
    nothing = np.full(len(values), np.nan)
    return Readings(
        time_s=nothing,
        clock="none",
        time_resolution_s=np.nan,
        speed_mps=values * SPEED_UNIT_MPS[unit],
        speed_unit=display_unit_of(unit),
        speed_resolution_mps=step * SPEED_UNIT_MPS[unit],
        odometer_m=nothing,
        odometer_resolution_m=np.nan,
        line=np.arange(1, len(values) + 1),
        kind="held speeds",
        source="held speeds",
    )


def _pooled(calibrations: list[Calibration]) -> Calibration | None:
    from speedcal.conformity import pool

    return pool(calibrations) if calibrations else None


def _corrections(job: Job, before: Calibration | None, after: Calibration | None) -> Corrections | None:
    """Derive corrections from the drive before, whose parts they name, judged at the speeds of the job."""
    from speedcal.vehicle import Vehicle, correct

    if before is None:
        return None
    vehicle = job.vehicle or Vehicle.from_dict({}, source=job.source.name)
    return correct(before, vehicle, speeds=job.speeds_in(before.unit))


def _explanations(job: Job, before: Calibration | None) -> Explanations | None:
    """Rank what would explain the error, where the job states a tire or an axle to start from."""
    from speedcal.vehicle.explain import explain

    vehicle = job.vehicle
    if before is None or vehicle is None or (vehicle.tire or vehicle.tire_before or vehicle.axle) is None:
        return None
    return explain(before, vehicle)


def _histories(before: list[DriveFacts], after: list[DriveFacts]) -> tuple[tuple[str, History], ...]:
    from speedcal.conformity import history

    dated = (("before", before), ("after", after))
    groups = [(name, [drive.calibration for drive in drives if drive.has_date]) for name, drives in dated]
    return tuple((name, history(drives)) for name, drives in groups if len(drives) > 1)


def _verification(job: Job, before: Calibration | None, after: Calibration | None) -> Verification | None:
    from speedcal.conformity import verify

    if after is None or job.tolerance is None:
        return None
    return verify(before, after, job.tolerance, vehicle=job.vehicle, work=job.work)
