"""What a log file turns into: a track (where the vehicle was) and readings (what the instrument showed)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from speedcal.finding import Finding
from speedcal.interval import FloatArray, IntArray
from speedcal.units import SpeedUnit

Clock = Literal["gps", "utc", "local", "time of day", "elapsed", "none"]
"""What the times of the readings are.

``gps``          the clock of the track itself (readings and fixes in one file)
``utc``          seconds since 1970-01-01 UTC, from stamps with a zone; the clock may be seconds off
``local``        the same, from stamps with a date and no zone, taken as if they were UTC
``time of day``  seconds since the midnight before the first reading, no date, no zone; keeps counting past midnight
``elapsed``      seconds since an unknown start
``none``         no times at all: speeds that were held one after the other, in this order
"""


@dataclass(frozen=True, slots=True)
class Track:
    """A recorded drive: GPS fixes on one clock, in order of time, arrays of one length.

    Missing numbers are NaN. ``speed_mps`` is what the file said, in the unit the format prescribes;
    whether the logger kept to it is judged by the measuring side, against the positions.

    Examples
    --------
    >>> import speedcal
    >>> track = speedcal.read_track("data_demo/before.gpx")
    >>> bool((track.time_s[1:] > track.time_s[:-1]).all())
    True
    """

    time_s: FloatArray
    """Seconds since 1970-01-01 UTC, strictly increasing."""
    latitude_deg: FloatArray
    longitude_deg: FloatArray
    elevation_m: FloatArray
    speed_mps: FloatArray
    segment: IntArray
    """Number of the unbroken piece each fix belongs to; nothing is interpolated from one to the next."""
    has_date: bool = True
    """False when the file carried times of day only; ``time_s`` then starts on 2000-01-01."""
    kind: str = ""
    """Format as a person would name it, such as ``GPX 1.1``."""
    source: str = ""
    """Name of the file, without folders."""
    digest: str = ""
    """SHA-256 of the file, hexadecimal."""
    dropped: Mapping[str, int] = field(default_factory=dict)
    """How many fixes were left out, by reason."""
    findings: tuple[Finding, ...] = ()

    def __len__(self) -> int:
        return len(self.time_s)

    def __str__(self) -> str:
        minutes = (self.time_s[-1] - self.time_s[0]) / 60 if len(self) else 0.0
        speed = "with recorded speed" if np.isfinite(self.speed_mps).mean() > 0.5 else "positions only"
        return f"{self.source or 'track'}: {self.kind}, {len(self)} fixes over {minutes:.1f} min, {speed}"


@dataclass(frozen=True, slots=True)
class Readings:
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
    source: str = ""
    digest: str = ""
    dropped: Mapping[str, int] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()

    def __len__(self) -> int:
        return len(self.speed_mps)

    def __str__(self) -> str:
        return f"{self.source or 'readings'}: {self.kind}, {len(self)} readings in {self.speed_unit}"
