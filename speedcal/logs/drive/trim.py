"""Leaving out the ends of a drive, where it shows somebody's home."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np

from speedcal.interval import BoolArray, FloatArray
from speedcal.logs.drive.track import Track


def without_ends(
    track: Track, from_start_m: FloatArray, from_end_m: FloatArray, cut_m: float
) -> tuple[Track, BoolArray]:
    """Return the part of a track that lies farther than ``cut_m`` from its first and from its last fix.

    Passing near either end in the middle of the drive is left out too; what remains on both sides become pieces of
    their own.

    Parameters
    ----------
    from_start_m, from_end_m
        Straight distance of every fix from the first and from the last, shape (n,). [m]

    Returns
    -------
    track, kept
        The rest, and where the fixes of it are among the fixes of the drive.
    """
    kept = (np.asarray(from_start_m) > cut_m) & (np.asarray(from_end_m) > cut_m)
    at = np.flatnonzero(kept)
    arrays = {
        item.name: getattr(track, item.name)[kept]
        for item in fields(track)
        if isinstance(getattr(track, item.name), np.ndarray) and item.name != "segment"
    }
    breaks = (np.diff(track.segment[at]) != 0) | (np.diff(at) > 1)
    segment = np.concatenate(([0], np.cumsum(breaks))) if len(at) else np.zeros(0, np.int64)
    return replace(track, **arrays, segment=segment.astype(np.int64)), kept
