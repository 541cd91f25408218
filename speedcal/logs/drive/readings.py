"""What the instrument showed, as every file ends up."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal, get_args

from speedcal.errors import ReadingsFormatError
from speedcal.finding import Finding
from speedcal.interval import FloatArray, IntArray
from speedcal.logs.drive.arrays import as_arrays
from speedcal.logs.drive.track import same_fields
from speedcal.units import SPEED_UNIT_MPS, SpeedUnit
from speedcal.wording import Spoken

Clock = Literal["gps", "utc", "local", "time of day", "elapsed", "none"]
"""What the times of the readings are.

``gps``          the clock of the track itself (readings and fixes in one file)
``utc``          seconds since 1970-01-01 UTC, from stamps with a zone; the clock may be seconds off
``local``        the same, from stamps with a date and no zone, taken as if they were UTC
``time of day``  seconds since the midnight before the first reading, no date, no zone; keeps counting past midnight
``elapsed``      seconds since an unknown start
``none``         no times at all: speeds that were held one after the other, in this order
"""


ReadFrom = Literal["square", "side", "film", "logged"]
Rounding = Literal["nearest", "down", "exact"]
Terrain = Literal["level", "rolling", "mountainous"]

DIAL_UNIT_SEEN = "dial_unit_seen"
"""Code of the finding that somebody saw the unit on the dial itself: then no other is suspected."""


@dataclass(frozen=True, slots=True, eq=False)
class Readings(Spoken):
    """What the instrument showed, in the order of the file, arrays of one length. Missing numbers are NaN.

    Examples
    --------
    >>> import speedcal
    >>> readings = speedcal.read_readings("data_demo/before_notes.csv")
    >>> readings.clock, readings.speed_unit, round(readings.speed_resolution_mps / 0.44704, 6)
    ('time of day', 'mph', 1.0)
    """

    time_s: FloatArray
    """Seconds on the clock of the readings, see :data:`Clock`; all NaN when the clock is ``none``."""
    clock: Clock
    time_resolution_s: float
    """Step in which the times were written down: 60 for whole minutes, 1 for seconds, 0.001 and so on."""
    speed_mps: FloatArray
    speed_unit: SpeedUnit
    """Unit the speeds were written in."""
    speed_resolution_mps: float
    """Step in which the speeds were written down (5, 2, 1, 0.1 of the unit), found from the values."""
    odometer_m: FloatArray
    odometer_resolution_m: float
    """Step of the odometer; NaN when there is no odometer column."""
    line: IntArray
    """Line of the file each reading stands in, counted from 1."""
    kind: str = ""
    """Format, such as ``table_commas``."""
    source: str = ""
    digest: str = ""
    dropped: Mapping[str, int] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    u_speed_mps: FloatArray | None = None
    """Standard uncertainty of each reading by itself, where the file states it or a range was noted; NaN elsewhere."""
    u_common_mps: FloatArray | None = None
    """Standard uncertainty that all readings share, at each of them, where the file states it."""
    read_from: ReadFrom | None = None
    """How the dial was looked at, where the file says so."""
    rounding: Rounding | None = None
    """How readings were rounded to the marks, where the file says so."""
    terrain: Terrain | None = None
    """How hilly the country was, where the file says so."""

    def __post_init__(self) -> None:
        as_arrays(self)
        for name, known in (("clock", get_args(Clock)), ("speed_unit", tuple(SPEED_UNIT_MPS))):
            if getattr(self, name) not in known:
                raise ValueError(f"{name} must be one of {', '.join(known)}, not {getattr(self, name)!r}")

    def __len__(self) -> int:
        return len(self.speed_mps)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Readings) and same_fields(self, other)


def with_dial_unit(readings: Readings, unit: str | None) -> Readings:
    """Return the readings with the unit that somebody saw on the dial, if anybody looked; refuse another than theirs.

    Parameters
    ----------
    unit
        ``mph`` or ``km/h``; None where nobody looked.
    """
    if unit is None:
        return readings
    if readings.speed_unit != unit:
        raise ReadingsFormatError(
            "dial_unit_contradicts", source=readings.source, seen=unit, speed_unit=readings.speed_unit
        )
    others = tuple(finding for finding in readings.findings if finding.code != DIAL_UNIT_SEEN)
    return replace(readings, findings=(*others, Finding(DIAL_UNIT_SEEN, speed_unit=unit)))
