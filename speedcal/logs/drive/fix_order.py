"""Which fixes of a log follow each other: repeated rows, stamps that repeat or run back, pieces that overlap."""

from __future__ import annotations

from bisect import bisect_left, bisect_right, insort
from collections import Counter
from itertools import pairwise

import numpy as np

from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray, IntArray
from speedcal.logs.drive.shared_stamps import are_even, cut_to, evenly

_FEWEST_FIXES = 20
"""Fixes that must differ before a log is taken to repeat them."""
_FEWEST_REPEATED = 8
_SHARED_LEAST = 0.02
"""Share of fixes under the stamp of the one before, from which a log is taken to cut its stamps."""
_LONGEST_STEP_S, _MOSTLY_RECORDED = 1.0, 0.5
_MOSTLY_BACK, _OFTEN_BACK, _DISTINCT = 0.5, 0.05, 0.98
"""Shares of the steps that go back where the newest fix stands first and where rows were exchanged, and of stamps that
stand once."""

_LEAP_S, _LEAP_STEPS, _MOST_PARTS = 10.0, 5.0, 50
"""Parts of a file that stand in another order than they were driven begin where the time leaps, either way, by more
than this and so many usual steps."""


def as_driven(time_s: FloatArray, segment: IntArray) -> tuple[IntArray, list[Finding]]:
    """Return the places of the rows in the order of the drive: as they are, from the last, or sorted.

    They are sorted where many step back and hardly any share a stamp: then rows were exchanged, while a clock that is
    set back does so once; and where few step back, but to parts of other times, as of files joined the wrong way round.
    """
    places, steps = np.arange(len(time_s)), np.diff(time_s)
    back = float((steps < 0).mean()) if len(steps) > 1 else 0.0
    if back > _MOSTLY_BACK and not (steps > 0).any():
        return places[::-1], [Finding("newest_first")]
    if back > _OFTEN_BACK and len(np.unique(time_s)) >= _DISTINCT * len(time_s) and not np.ptp(segment):
        return np.argsort(time_s, kind="stable"), [Finding("rows_exchanged", count=int((steps < 0).sum()))]
    if back and not np.ptp(segment):
        leap = np.abs(steps) > max(_LEAP_S, _LEAP_STEPS * float(np.median(np.abs(steps))))
        parts = np.split(places, np.flatnonzero(leap) + 1)
        parts.sort(key=lambda part: float(time_s[part].min()))
        apart = all(time_s[later].min() > time_s[earlier].max() for earlier, later in pairwise(parts))
        if 1 < len(parts) <= _MOST_PARTS and apart:
            return np.concatenate(parts), [Finding("rows_exchanged", count=int((steps < 0).sum()))]
    return places, []


def not_renewed(time_s: FloatArray, latitude: FloatArray, longitude: FloatArray, speed: FloatArray) -> BoolArray:
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


def in_time(order: IntArray, time_s: FloatArray, segment: IntArray, dropped: Counter[str]) -> tuple[IntArray, IntArray]:
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
    dropped["repeated_time"] += int(repeated.sum())
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
    dropped["backward_time"] += len(times) - len(chain)
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
        covered = np.zeros(len(piece) + 1, np.int64)
        for start, end in taken[first:]:
            if start > high:
                break
            begin = bisect_left(times, start)
            free[begin : bisect_right(times, end)] = False
            covered[begin] += 1  # also where no fix of this piece lies in it
        dropped["time_covered"] += int((~free).sum())
        rest = np.flatnonzero(free)
        between = np.cumsum(covered)[rest]
        for part in np.split(rest, np.flatnonzero(np.diff(between) > 0) + 1) if len(rest) else []:
            kept.append(piece[part])
            insort(taken, (float(times[part[0]]), float(times[part[-1]])))
    return sorted(kept, key=lambda piece: float(time_s[piece[0]]))


def spread_stamps(
    time_s: FloatArray, latitude: FloatArray, longitude: FloatArray, speed: FloatArray
) -> tuple[FloatArray, float]:
    """Spread fixes that share a stamp evenly over its step, in a log that cut its stamps to whole seconds or coarser.

    Only fixes at different places count: a row written twice is no second fix. Returns the times and the step that
    was found, zero where nothing was spread. The last stamp of a burst may lack fixes, so the usual number decides.
    Without a recorded speed fixes as uneven as those of a thinned track do not tell where in a coarse step they lie.
    """
    n = len(time_s)
    if n < _FEWEST_FIXES:
        return time_s, 0.0
    shared = np.zeros(n, bool)
    shared[1:] = time_s[1:] == time_s[:-1]
    moved = np.zeros(n, bool)
    moved[1:] = (latitude[1:] != latitude[:-1]) | (longitude[1:] != longitude[:-1])
    if (shared & moved).sum() < max(_FEWEST_REPEATED, _SHARED_LEAST * n):
        return time_s, 0.0
    step = (
        1.0
        if (time_s == np.floor(time_s)).all()
        else 0.1
        if (np.abs(10 * time_s - np.round(10 * time_s)) < 1e-4).all()
        else 0.0
    )
    first = np.flatnonzero(~shared)
    steps = np.diff(time_s[first])
    if not step or not len(steps) or (steps < 0).any():
        return time_s, 0.0
    count = np.diff(first, append=n)
    usual = max(2, round(float(np.quantile(count, 0.9))))
    if np.isfinite(speed).mean() > _MOSTLY_RECORDED or are_even(count, usual):
        step = cut_to(time_s[first], usual, step)
    if np.median(steps) > max(step, _LONGEST_STEP_S):
        return time_s, 0.0
    if count.max() > 2 * usual + 1:  # a receiver that hangs, not one that writes faster than its clock
        return time_s, 0.0
    return evenly(time_s, first, usual, step), step
