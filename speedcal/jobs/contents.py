"""What a job file says, once it has been read and found valid; data and nothing else."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

from speedcal.interval import tidy
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit, SpeedUnit, speed_from_mps

if TYPE_CHECKING:
    from speedcal.conformity import Tolerance
    from speedcal.logs.drive.readings import ReadFrom, Rounding, Terrain
    from speedcal.vehicle import Vehicle, Work
    from speedcal.vehicle.judged.limits import Limits


@dataclass(frozen=True, slots=True)
class Drive:
    """Where one drive is found: its track, and its readings or the speeds held one after the other; or its checks."""

    track: Path | None = None
    readings: Path | None = None
    held: tuple[float, ...] = ()
    """Indicated speeds held in this order without noting times, in ``unit``."""
    checks: Path | None = None
    """Readings whose truth stands beside them, in place of track and readings."""
    unit: SpeedUnit | None = None
    column: str | None = None
    session: str | None = None
    """Which vehicle or session, where a file holds several."""
    zone: str | None = None
    clock_offset_s: float | None = None
    read_from: ReadFrom | None = None
    """Where the needle was seen from."""
    rounding: Rounding | None = None
    """How the readings were rounded."""
    terrain: Terrain | None = None
    """How hilly the country was."""
    dial_unit: DisplayUnit | None = None
    """Unit that somebody saw on the dial."""
    date: str = ""
    """Day of the drive, ISO 8601, where the job says it."""
    odometer: float | None = None
    """What the odometer showed at the start, in miles or km as the dial is marked."""
    tire: str = ""
    """Size of the tires on that day, where it is not that of the vehicle."""
    cold_pressure_psi: float | None = None
    cold_pressure_kpa: float | None = None

    @property
    def noted(self) -> tuple[tuple[str, float | str], ...]:
        """What was written down of the vehicle on that day: odometer, tires, their pressure."""
        names = ("odometer", "tire", "cold_pressure_psi", "cold_pressure_kpa")
        return tuple((name, value) for name in names if (value := getattr(self, name)) not in (None, ""))

    @property
    def files(self) -> tuple[Path, ...]:
        """The files of this drive, each once."""
        return tuple(dict.fromkeys(path for path in (self.track, self.readings, self.checks) if path is not None))


@dataclass(frozen=True, slots=True)
class JobContents:
    """One vehicle at one shop: who it is for, what is fitted, which drives were made, which rule applies."""

    source: Path
    digest: str
    """SHA-256 of the job file, hexadecimal."""
    unit: DisplayUnit | None = None
    """Unit for people; None takes the one the readings were written in."""
    number: str = ""
    shop: str = ""
    customer: str = ""
    note: str = ""
    """What the report says for the customer."""
    shop_note: str = ""
    """What only the shop sees; it stands on no report."""
    vehicle: Vehicle | None = None
    before: tuple[Drive, ...] = ()
    after: tuple[Drive, ...] = ()
    work: Work | None = None
    """What was changed between the drives; None when the job does not say."""
    tolerance: Tolerance | None = None

    @property
    def files(self) -> tuple[Path, ...]:
        """Every file the job reads besides itself, each once, in the order of the job file."""
        return tuple(dict.fromkeys(path for drive in self.before + self.after for path in drive.files))

    def shown_in(self, unit: DisplayUnit | None) -> Self:
        """Return the job with its answers in another unit; what it says of the dial stays what the dial is marked in.

        A needle that was set over, odometers and held speeds are written in the unit of the dial.
        """
        if unit is None or self.unit is None or unit == self.unit:
            return replace(self, unit=unit or self.unit)
        times = SPEED_UNIT_MPS[self.unit] / SPEED_UNIT_MPS[unit]
        work = self.work and replace(self.work, **_scaled(self.work, ("needle", "odometer", "odometer_now"), times))
        before, after = (
            tuple(
                replace(d, unit=d.unit or (self.unit if d.held else None), **_scaled(d, ("odometer",), times))
                for d in drives
            )
            for drives in (self.before, self.after)
        )
        return replace(self, unit=unit, work=work, before=before, after=after)

    def speeds_in(self, unit: DisplayUnit) -> tuple[float, ...] | None:
        """Return the true speeds that the job says matter, in a unit; None when it names none."""
        chosen = self.tolerance.chosen_true_mps if self.tolerance else ()
        return tuple(tidy(speed_from_mps(v, unit), 4) for v in chosen) or None

    def limits_in(self, unit: DisplayUnit) -> Limits | None:
        """Return what the rule of the job allows on a dial in a unit; None when it has none."""
        return self.tolerance.in_unit(unit).for_choices if self.tolerance else None

    def to_dict(self) -> dict[str, Any]:
        """Return what the job says of itself, ready for JSON; the files are listed with the result."""
        return {
            "number": self.number,
            "shop": self.shop,
            "customer": self.customer,
            "unit": self.unit,
            "note": self.note,
            "vehicle": str(self.vehicle) if self.vehicle else "",
            "work": str(self.work) if self.work else "",
            "work_note": self.work.note if self.work else "",
        }

    def __str__(self) -> str:
        drives = f"{len(self.before)} before, {len(self.after)} after"
        return f"job {self.number or self.source.name}: drives {drives}"


def _scaled(given: Work | Drive, names: tuple[str, ...], times: float) -> dict[str, Any]:
    """Return those of the numbers that are stated, in another unit."""
    return {name: tidy(value * times, 3) for name in names if (value := getattr(given, name)) is not None}
