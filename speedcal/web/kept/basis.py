"""What a job can be analysed from: a drive, or the facts of its vehicle alone."""

from __future__ import annotations

from collections.abc import Sequence

from speedcal.errors import SpeedcalError
from speedcal.web.kept.rows import DriveRow, JobRow


def has_basis(job: JobRow, drives: Sequence[DriveRow]) -> bool:
    """Tell whether a drive can be measured, or the stated facts say what the dial should show without one."""
    return any(drive.is_usable for drive in drives) or _facts_suffice(job)


def _facts_suffice(job: JobRow) -> bool:
    from speedcal.vehicle import Vehicle
    from speedcal.vehicle.choices.facts_only import dial_from_facts

    try:
        dial_from_facts(Vehicle.from_dict(job.document.get("vehicle", {})), "mph")
    except SpeedcalError:
        return False
    return True
