"""A recorded drive: fixes as a file lists them, and the track that is left when what cannot be a fix is taken out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, fields

import numpy as np
from numpy.typing import ArrayLike

from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray, IntArray
from speedcal.logs import limits
from speedcal.logs.drive.arrays import as_arrays
from speedcal.logs.drive.fix_order import as_driven, in_time, not_renewed, spread_stamps
from speedcal.logs.drive.receiver_seconds import at_whole_seconds, held_on_the_way
from speedcal.logs.drive.speed_physics import are_swapped, zeros_under_way
from speedcal.logs.drive.timer_stamps import evenly_taken, of_a_timer
from speedcal.logs.drive.unset_clock import since_begin
from speedcal.logs.source import Source
from speedcal.logs.writing.numbers import recorded_step
from speedcal.wording import Spoken

BASE_S = 946_684_800.0
"""2000-01-01 UTC, where tracks without a date start. [s since 1970-01-01]"""


@dataclass(frozen=True, slots=True, eq=False)
class Track(Spoken):
    """A recorded drive: GPS fixes on one clock, in order of time, arrays of one length.

    Missing numbers are NaN, all positions in a log that has the receiver's speed alone. ``speed_mps`` is what the file
    said, neither smoothed nor cleaned, in the unit the file states; whether the logger kept to it is judged by the
    measuring side, against the positions.

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
    """Format, such as ``gpx_1_1``."""
    source: str = ""
    """Name of the file, without folders."""
    digest: str = ""
    """SHA-256 of the file, hexadecimal."""
    dropped: Mapping[str, int] = field(default_factory=dict)
    """How many fixes were left out, by the code of the reason."""
    findings: tuple[Finding, ...] = ()
    speed_step_mps: float = 0.0
    """Step of the recorded speeds, found from the values: whole km/h, mph, knots or m/s; 0 where it is fine."""

    def __post_init__(self) -> None:
        as_arrays(self)
        if not (self.time_s[1:] > self.time_s[:-1]).all():
            raise ValueError("time_s must increase from fix to fix")
        if (np.abs(self.latitude_deg) > 90).any():
            raise ValueError("latitude_deg must lie between -90 and 90")

    def __len__(self) -> int:
        return len(self.time_s)

    @property
    def has_positions(self) -> bool:
        """Whether it has more than the speed of the receiver."""
        return bool(np.isfinite(self.latitude_deg).any())

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Track) and same_fields(self, other)


def same_fields(one: object, other: object) -> bool:
    """Tell whether two records of one type hold the same, arrays number by number (missing ones are alike)."""
    for item in fields(one):  # type: ignore[arg-type]
        a, b = getattr(one, item.name), getattr(other, item.name)
        alike = np.array_equal(a, b, equal_nan=a.dtype.kind == "f") if isinstance(a, np.ndarray) else _alike(a, b)
        if not alike:
            return False
    return True


def _alike(a: object, b: object) -> bool:
    return a == b or (isinstance(a, float) and isinstance(b, float) and a != a and b != b)


@dataclass(slots=True)
class Fixes:
    """Fixes in the order of the file, sequences of one length; missing numbers are NaN.

    A reader fills this and hands it to :func:`build_track`.
    """

    time_s: ArrayLike
    """Seconds since 1970-01-01 UTC, or since 2000-01-01 with ``has_date`` false."""
    latitude_deg: ArrayLike | None
    longitude_deg: ArrayLike | None
    """None, both, where the log has none."""
    elevation_m: ArrayLike | None = None
    speed_mps: ArrayLike | None = None
    segment: ArrayLike | None = None
    invalid: ArrayLike | None = None
    """True where the receiver itself marks the fix invalid."""
    has_date: bool = True
    findings: list[Finding] = field(default_factory=list)
    dropped: Counter[str] = field(default_factory=Counter)


def build_track(source: Source, kind: str, fixes: Fixes) -> Track:
    """Return the track, or raise the error of the source when fewer than two fixes are left.

    Left out and counted: fixes marked invalid, without time, with positions off the globe or at exactly 0, 0 (what
    receivers write before the first fix), with dates before 1990 or after 2090, with times that repeat or run back.
    A log that writes most fixes several times, until the next one arrives, keeps the first row of each; one whose
    stamps are cut to whole seconds has the fixes that share one spread over it, and gets the times of its timer back
    where the steps tell its period.
    """
    time_s = np.asarray(fixes.time_s, float)
    n = len(time_s)
    if n > limits.MAX_POINTS:
        source.fail("too_many", what="fixes", most=limits.MAX_POINTS)
    latitude, longitude = _filled(fixes.latitude_deg, n), _filled(fixes.longitude_deg, n)
    elevation, speed = _filled(fixes.elevation_m, n), _filled(fixes.speed_mps, n)
    segment = np.zeros(n, np.int64) if fixes.segment is None else np.asarray(fixes.segment, np.int64)
    dropped: Counter[str] = Counter(fixes.dropped)
    findings = list(fixes.findings)
    unset = since_begin(time_s) if fixes.has_date else None
    if unset is not None:
        time_s = BASE_S + unset[1]
        findings.append(Finding("clock_never_set", of="fixes", year=unset[0]))
    if are_swapped(time_s, latitude, longitude, speed):
        latitude, longitude = longitude, latitude
        findings.append(Finding("positions_swapped"))

    keep = np.ones(n, bool)
    for reason, bad in _unusable(time_s, latitude, longitude, fixes):
        dropped[reason] += int((keep & bad).sum())
        keep &= ~bad
    time_s = time_s.copy()
    order, segment, found = _in_order(time_s, np.flatnonzero(keep), segment, (latitude, longitude, speed), dropped)
    findings += found
    dropped = Counter({reason: count for reason, count in dropped.items() if count})
    if n > 1 and not np.isfinite(time_s).any():
        source.fail("no_timed_track")
    if len(order) < 2:
        source.fail("no_fixes", count=len(order), dropped=dict(sorted(dropped.items())))
    negative = speed < 0
    if negative[order].any():
        findings.append(Finding("negative_speed", count=int(negative[order].sum())))
    speed = np.where(negative | ~np.isfinite(speed), np.nan, speed)[order]
    unknown = zeros_under_way(time_s[order], latitude[order], longitude[order], speed)
    if unknown.any():
        findings.append(Finding("zero_speed_under_way", count=int(unknown.sum())))
    speed = np.where(unknown, np.nan, speed)
    elevation = np.where(np.isfinite(elevation), elevation, np.nan)
    return Track(
        time_s=time_s[order],
        latitude_deg=latitude[order],
        longitude_deg=longitude[order],
        elevation_m=elevation[order],
        speed_mps=speed,
        segment=segment,
        has_date=fixes.has_date and unset is None,
        kind=kind,
        source=source.name,
        digest=source.digest,
        dropped=dict(sorted(dropped.items())),
        findings=tuple(findings),
        speed_step_mps=recorded_step(speed),
    )


def _in_order(
    time_s: FloatArray,
    order: IntArray,
    segment: IntArray,
    places: tuple[FloatArray, FloatArray, FloatArray],
    dropped: Counter[str],
) -> tuple[IntArray, IntArray, list[Finding]]:
    """Return which fixes are left in the order they were driven, their segments, and findings; mend ``time_s``.

    Parameters
    ----------
    time_s, segment
        Of all fixes, shape (n,).
    order
        Fixes that can be used.
    places
        Latitude, longitude and recorded speed of all fixes.
    dropped
        Counts what is left out.
    """
    driven, findings = as_driven(time_s[order], segment[order])
    order = order[driven]
    stale = not_renewed(time_s[order], *(values[order] for values in places))
    dropped["fix_not_renewed"] += int(stale.sum())
    order = order[~stale]
    latitude, longitude, speed = (values[order] for values in places)
    time_s[order], found = _spread(time_s[order], segment[order], latitude, longitude, speed)
    held = held_on_the_way(time_s[order], segment[order], latitude, longitude, speed)
    dropped["fix_not_renewed"] += int(held.sum())
    order, segment = in_time(order[~held], time_s, segment, dropped)
    time_s[order], period_s = of_a_timer(time_s[order])
    found += _of_a_timer(period_s)
    latitude, longitude, speed = (values[order] for values in places)
    if not np.isfinite(speed).any():
        time_s[order], period_s = at_whole_seconds(time_s[order], segment, latitude, longitude)
        found = [Finding("fixes_of_a_timer", period_s=period_s)] if period_s else found
    again = np.diff(time_s[order], prepend=-np.inf) <= 0
    dropped["fix_not_renewed"] += int(again.sum())
    return order[~again], segment[~again], findings + found


def _spread(
    time_s: FloatArray, segment: IntArray, latitude: FloatArray, longitude: FloatArray, speed: FloatArray
) -> tuple[FloatArray, list[Finding]]:
    """Return the times of fixes that were taken evenly or share stamps, and findings."""
    even, period_s = evenly_taken(time_s, segment, latitude, longitude, speed)
    if period_s:
        return even, _of_a_timer(period_s)
    spread, step_s = spread_stamps(time_s, latitude, longitude, speed)
    return spread, [Finding("fixes_share_stamps", step_s=step_s)] if step_s else []


def _of_a_timer(period_s: float) -> list[Finding]:
    return [Finding("stamps_of_a_timer", of="fixes", period_s=period_s)] if period_s else []


def _filled(values: ArrayLike | None, n: int) -> FloatArray:
    return np.full(n, np.nan) if values is None else np.asarray(values, float)


def _unusable(
    time_s: FloatArray, latitude: FloatArray, longitude: FloatArray, fixes: Fixes
) -> list[tuple[str, BoolArray]]:
    with np.errstate(invalid="ignore"):
        off_globe = (~(np.abs(latitude) <= 90) | ~(np.abs(longitude) <= 180)) & (fixes.latitude_deg is not None)
        ages_off = (time_s < limits.EARLIEST_S) | (time_s > limits.LATEST_S)
    marked = np.zeros(len(time_s), bool) if fixes.invalid is None else np.asarray(fixes.invalid, bool)
    return [
        ("marked_invalid", marked),
        ("time_missing", ~np.isfinite(time_s)),
        ("impossible_date", ages_off),
        ("no_position_yet", (latitude == 0) & (longitude == 0)),
        ("no_position", off_globe),
    ]
