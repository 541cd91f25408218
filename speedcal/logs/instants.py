"""Columns of written instants such as ``2020-09-13T12:26:40.250Z``, read as arrays."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from speedcal.interval import FloatArray, IntArray
from speedcal.logs.written_times import days_since_1970

_WHOLE = 20
_SIZES = (_WHOLE, *range(_WHOLE + 2, _WHOLE + 11))
"""Characters without a fraction and with one of one to nine digits."""
_MARKS = {4: b"-", 7: b"-", 10: b"T", 13: b":", 16: b":"}


def read_instants(texts: Sequence[bytes | None], general: Callable[[str], float]) -> FloatArray:
    """Return seconds since 1970-01-01 UTC.

    Parameters
    ----------
    texts
        As written; None where there is none.
    general
        Reads whatever has another form; NaN for what is no instant.
    """
    result = np.full(len(texts), np.nan)
    length = np.fromiter((len(text or b"") for text in texts), np.int64, len(texts))
    for size in _SIZES:
        rows = np.flatnonzero(length == size)
        if len(rows):
            block = b"".join([texts[i] or b"" for i in rows.tolist()])
            result[rows] = _usual(np.frombuffer(block, np.uint8).reshape(-1, size))
    for i in np.flatnonzero(np.isnan(result) & (length > 0)).tolist():
        result[i] = general((texts[i] or b"").decode("utf-8", "replace"))
    return result


def _usual(block: np.ndarray[tuple[int, int], np.dtype[np.uint8]]) -> FloatArray:
    """Return the instants of rows of one length in the usual form, NaN for the others."""
    size = block.shape[1]
    marks = _MARKS | {size - 1: b"Z"} | ({19: b"."} if size > _WHOLE else {})
    places = [i for i in range(size) if i not in marks]
    digits = (block - np.uint8(48)).astype(np.int64)
    good = (digits[:, places] < 10).all(axis=1)
    for at, mark in marks.items():
        good &= block[:, at] == mark[0]

    def whole(start: int, stop: int) -> IntArray:
        return np.asarray(digits[:, start:stop] @ 10 ** np.arange(stop - start)[::-1], np.int64)

    hour, minute, second = whole(11, 13), whole(14, 16), whole(17, 19)
    good &= (hour < 24) & (minute < 60) & (second < 60)
    written: IntArray = np.where(good, whole(0, 4) * 10_000 + whole(5, 7) * 100 + whole(8, 10), 0)
    dates, place = np.unique(written, return_inverse=True)
    days = [days_since_1970(date // 10_000, date // 100 % 100, date % 100) if date else None for date in dates.tolist()]
    day = np.array([np.nan if number is None else float(number) for number in days])[place]
    fraction = whole(20, size - 1) / 10.0 ** (size - 21) if size > _WHOLE else 0.0
    return np.asarray(day * 86400.0 + (hour * 3600 + minute * 60 + second + fraction))
