"""How an instrument reads in the other range of a two-speed axle or transfer case."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from speedcal.interval import tidy
from speedcal.vehicle.drivetrain import range_gains
from speedcal.vehicle.judged.judge import Judge
from speedcal.vehicle.vehicle import Vehicle


@dataclass(frozen=True, slots=True)
class OtherRange:
    """How the instrument reads in the other range of a two-speed axle or transfer case."""

    part: str
    """``axle`` or ``transfer_case``."""
    gain: float
    """Shaft speed in that range over that in the range driven, at the same road speed."""
    errors: tuple[dict[str, float], ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the range, ready for JSON."""
        return {"part": self.part, "gain": tidy(self.gain, 6), "errors": [dict(row) for row in self.errors]}


def other_ranges(judge: Judge, vehicle: Vehicle) -> tuple[OtherRange, ...]:
    """Return the other range of axle and transfer case, where the job states one."""
    return tuple(OtherRange(part, gain, tuple(judge.table(gain))) for part, gain in range_gains(vehicle))
