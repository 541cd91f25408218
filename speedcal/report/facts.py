"""What a report is told."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from speedcal.units import DisplayUnit

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration
    from speedcal.conformity import History, Tolerance, Verification
    from speedcal.vehicle import Corrections, Vehicle, Work
    from speedcal.vehicle.diagnosed.explanations import Explanations


@dataclass(frozen=True)
class DriveFacts:
    """One measured drive."""

    name: str
    """``before``, ``after``, or with a number when there are several."""
    calibration: Calibration
    has_date: bool = True
    """False when the track carries times of day only, and for checks."""
    date: str = ""
    """Day as the job says it, where no track does."""
    noted: tuple[tuple[str, float | str], ...] = ()
    """What the job says of the vehicle on that day: odometer, tires, their pressure."""
    noted_in: DisplayUnit | None = None
    """Unit the dial was seen or read in; None for checks."""
    is_logged: bool = False
    """Whether nobody looked at the dial: a machine wrote the readings down."""

    @property
    def is_dated(self) -> bool:
        """Whether its day is known."""
        return self.has_date or bool(self.date)


@dataclass(frozen=True)
class ReportFacts:
    """Everything a report shows; parts that a job does not carry are None or empty."""

    unit: DisplayUnit
    drives: tuple[DriveFacts, ...]
    before: Calibration | None = None
    """The drive before the work, or several pooled."""
    after: Calibration | None = None
    expected: Calibration | None = None
    """How the instrument should read by the facts of the vehicle, where nothing was driven."""
    corrections: Corrections | None = None
    explanations: Explanations | None = None
    """What would explain the error of the drive before the work."""
    histories: tuple[tuple[str, History], ...] = ()
    """``before`` or ``after``, and its drives in order of time, where there are several."""
    verification: Verification | None = None
    tolerance: Tolerance | None = None
    vehicle: Vehicle | None = None
    work: Work | None = None
    """What was changed between the drives."""
    shop: str = ""
    number: str = ""
    customer: str = ""
    note: str = ""
    files: tuple[tuple[str, str], ...] = ()
    """Names and SHA-256 digests."""
    version: str = ""
    both_units: bool = False
    """Whether figures are given in the other unit besides."""
