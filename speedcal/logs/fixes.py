"""From the fixes as a file lists them to a track: what cannot be a fix is left out and counted."""

from __future__ import annotations

from bisect import bisect_left, bisect_right, insort
from collections import Counter
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray, IntArray
from speedcal.logs import limits
from speedcal.logs.model import Track
from speedcal.logs.source import Source

BASE_S = 946_684_800.0
"""2000-01-01 UTC, where tracks without a date start. [s since 1970-01-01]"""

_FEWEST_FIXES = 20
"""Fixes that must differ before a log is taken to repeat them."""


@dataclass(slots=True)
class Fixes:
    """Fixes in the order of the file, sequences of one length; missing numbers are NaN.

    A reader fills this and hands it to :func:`build_track`.
    """

    time_s: ArrayLike
    """Seconds since 1970-01-01 UTC, or since 2000-01-01 with ``has_date`` false."""
    latitude_deg: ArrayLike
    longitude_deg: ArrayLike
    elevation_m: ArrayLike | None = None
    speed_mps: ArrayLike | None = None
    segment: ArrayLike | None = None
    invalid: ArrayLike | None = None
    """True where the receiver itself marks the fix invalid."""
    has_date: bool = True
    findings: list[Finding] = field(default_factory=list)


def build_track(source: Source, kind: str, fixes: Fixes) -> Track:
    """Return the track, or raise the error of the source when fewer than two fixes are left.

    Left out and counted: fixes marked invalid, without time, with positions off the globe or at exactly 0, 0 (what
    receivers write before the first fix), with dates before 1990 or after 2090, with times that repeat or run back.
    A log that writes most fixes several times, until the next one arrives, keeps the first row of each.
    Of times that run back the longest increasing chain is kept, so that one stamp that leaps ahead costs one fix.
    Pieces that cover the same time as a longer piece (a drive stored twice) are left out.
    """
    time_s = np.asarray(fixes.time_s, float)
    n = len(time_s)
    if n > limits.MAX_POINTS:
        source.fail(f"the track has more than {limits.MAX_POINTS} fixes", remedy="Cut the recording down to the drive")
    latitude, longitude = np.asarray(fixes.latitude_deg, float), np.asarray(fixes.longitude_deg, float)
    elevation, speed = _filled(fixes.elevation_m, n), _filled(fixes.speed_mps, n)
    segment = np.zeros(n, np.int64) if fixes.segment is None else np.asarray(fixes.segment, np.int64)
    dropped: Counter[str] = Counter()

    keep = np.ones(n, bool)
    for reason, bad in _unusable(time_s, latitude, longitude, fixes):
        dropped[reason] += int((keep & bad).sum())
        keep &= ~bad
    order = np.flatnonzero(keep)
    stale = _not_renewed(time_s[order], latitude[order], longitude[order], speed[order])
    dropped["fix not renewed"] += int(stale.sum())
    order = order[~stale]
    order, segment = _in_time(order, time_s, segment, dropped)
    dropped = Counter({reason: count for reason, count in dropped.items() if count})
    if len(order) < 2:
        source.fail(
            _nothing_left(len(order), dropped), remedy="Give the recording of a drive, with times and positions"
        )
    findings = list(fixes.findings)
    negative = speed < 0
    if negative[order].any():
        count = int(negative[order].sum())
        findings.append(Finding("negative_speed", f"{count} recorded speeds are negative and count as missing"))
    speed = np.where(negative | ~np.isfinite(speed), np.nan, speed)
    elevation = np.where(np.isfinite(elevation), elevation, np.nan)
    return Track(
        time_s=time_s[order],
        latitude_deg=latitude[order],
        longitude_deg=longitude[order],
        elevation_m=elevation[order],
        speed_mps=speed[order],
        segment=segment,
        has_date=fixes.has_date,
        kind=kind,
        source=source.name,
        digest=source.digest,
        dropped=dict(sorted(dropped.items())),
        findings=tuple(findings),
    )


def _filled(values: ArrayLike | None, n: int) -> FloatArray:
    return np.full(n, np.nan) if values is None else np.asarray(values, float)


def _unusable(
    time_s: FloatArray, latitude: FloatArray, longitude: FloatArray, fixes: Fixes
) -> list[tuple[str, BoolArray]]:
    with np.errstate(invalid="ignore"):
        off_globe = ~(np.abs(latitude) <= 90) | ~(np.abs(longitude) <= 180)
        ages_off = (time_s < limits.EARLIEST_S) | (time_s > limits.LATEST_S)
    marked = np.zeros(len(time_s), bool) if fixes.invalid is None else np.asarray(fixes.invalid, bool)
    return [
        ("marked invalid by the receiver", marked),
        ("missing or unreadable time", ~np.isfinite(time_s)),
        ("impossible date", ages_off),
        ("no position yet (0, 0)", (latitude == 0) & (longitude == 0)),
        ("missing or invalid position", off_globe),
    ]


def _not_renewed(time_s: FloatArray, latitude: FloatArray, longitude: FloatArray, speed: FloatArray) -> BoolArray:
    """Find the rows that repeat the fix before them, in a log most of whose fixes stand in several rows.

    Of a vehicle that stands, one row is kept for as many as a fix usually has.
    """
    n = len(time_s)
    same = np.zeros(n, bool)
    same[1:] = (time_s[1:] != time_s[:-1]) & (latitude[1:] == latitude[:-1]) & (longitude[1:] == longitude[:-1])
    same[1:] &= (speed[1:] == speed[:-1]) | (np.isnan(speed[1:]) & np.isnan(speed[:-1]))
    first = np.flatnonzero(~same)
    rows = np.diff(first, append=n)
    usual = int(np.median(rows)) if len(first) >= _FEWEST_FIXES else 1
    if usual < 2:
        return np.zeros(n, bool)
    place = np.arange(n) - np.repeat(first, rows)
    standing = np.repeat(rows >= 4 * usual, rows) & (place % usual == 0)
    return np.asarray((place > 0) & ~standing)


def _in_time(
    order: IntArray, time_s: FloatArray, segment: IntArray, dropped: Counter[str]
) -> tuple[IntArray, IntArray]:
    """Return the indices of the fixes to keep, increasing in time, and their segments, numbered from 0."""
    pieces = np.split(order, np.flatnonzero(np.diff(segment[order])) + 1) if len(order) else []
    pieces = [_increasing(piece, time_s, dropped) for piece in pieces]
    pieces.sort(key=lambda piece: float(time_s[piece[0]]))
    if any(time_s[later[0]] <= time_s[earlier[-1]] for earlier, later in pairwise(pieces)):
        pieces = _without_overlap(pieces, time_s, dropped)
    if not pieces:
        return order, segment[order]
    return np.concatenate(pieces), np.repeat(np.arange(len(pieces)), [len(piece) for piece in pieces])


def _increasing(piece: IntArray, time_s: FloatArray, dropped: Counter[str]) -> IntArray:
    """Keep the longest strictly increasing chain of times (Schensted 1961, by patience sorting)."""
    times = time_s[piece]
    if (np.diff(times) > 0).all():
        return piece
    repeated = np.zeros(len(times), bool)
    repeated[1:] = times[1:] == times[:-1]
    dropped["repeated time"] += int(repeated.sum())
    piece, times = piece[~repeated], times[~repeated]
    tails: list[float] = []
    ends: list[int] = []
    before = np.full(len(times), -1)
    for i, t in enumerate(times.tolist()):
        at = bisect_left(tails, t)
        if at:
            before[i] = ends[at - 1]
        tails[at : at + 1] = [t]
        ends[at : at + 1] = [i]
    chain = []
    i = ends[-1]
    while i >= 0:
        chain.append(i)
        i = int(before[i])
    dropped["backward time"] += len(times) - len(chain)
    kept: IntArray = piece[np.array(chain[::-1])]
    return kept


def _without_overlap(pieces: list[IntArray], time_s: FloatArray, dropped: Counter[str]) -> list[IntArray]:
    """Keep the longest pieces whole; of the others keep what lies outside the time they cover."""
    taken: list[tuple[float, float]] = []
    kept: list[IntArray] = []
    for piece in sorted(pieces, key=len, reverse=True):
        times = time_s[piece]
        low, high = float(times[0]), float(times[-1])
        first = max(bisect_right(taken, (low, np.inf)) - 1, 0)
        free = np.ones(len(piece), bool)
        for start, end in taken[first:]:
            if start > high:
                break
            free[bisect_left(times, start) : bisect_right(times, end)] = False
        dropped["time covered by a longer piece"] += int((~free).sum())
        rest = np.flatnonzero(free)
        for part in np.split(rest, np.flatnonzero(np.diff(rest) > 1) + 1) if len(rest) else []:
            kept.append(piece[part])
            insort(taken, (float(times[part[0]]), float(times[part[-1]])))
    return sorted(kept, key=lambda piece: float(time_s[piece[0]]))


def _nothing_left(count: int, dropped: Counter[str]) -> str:
    left = "no fix" if count == 0 else "only one fix"
    reasons = ", ".join(f"{reason}: {number}" for reason, number in sorted(dropped.items()))
    return f"{left} can be used" + (f" (left out: {reasons})" if reasons else "")
