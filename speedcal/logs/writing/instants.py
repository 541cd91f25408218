"""Columns of written instants such as ``2020-09-13T12:26:40.250Z``, read as arrays."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from speedcal.interval import FloatArray, IntArray
from speedcal.logs.writing.written_times import days_since_1970

_WHOLE = 19
_SIZES = (_WHOLE, *range(_WHOLE + 2, _WHOLE + 11))
"""Characters before the Z: without a fraction, and with one of one to nine digits."""
_MARKS = {4: b"-", 7: b"-", 13: b":", 16: b":"}
_BETWEEN, _BEFORE_FRACTION = 10, 19
_MICRO = 6
"""Digits of a fraction that count, as for an instant in any other form."""

_Block = np.ndarray[tuple[int, int], np.dtype[np.uint8]]


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
        rows = np.flatnonzero(length == size + 1)
        if len(rows):
            block = _block(b"".join([texts[i] or b"" for i in rows.tolist()]), size + 1)
            result[rows] = np.where(block[:, size] == ord(b"Z"), _usual(block[:, :size]), np.nan)
    for i in np.flatnonzero(np.isnan(result) & (length > 0)).tolist():
        result[i] = general((texts[i] or b"").decode("utf-8", "replace"))
    return result


def usual_instants(cells: Sequence[str]) -> tuple[FloatArray, float, bool] | None:
    """Return the instants of a column, their step, and whether each ends with Z; None where one has another form.

    Seconds since 1970-01-01, UTC or, without Z, taken as such.
    """
    sizes = {len(cell) for cell in cells}
    zoned = bool(cells) and cells[0][-1:] == "Z"
    if not sizes <= {size + zoned for size in _SIZES} or any((cell[-1] == "Z") != zoned for cell in cells):
        return None
    result = np.full(len(cells), np.nan)
    length = np.fromiter(map(len, cells), np.int64, len(cells))
    for size in sizes:
        rows = np.flatnonzero(length == size)
        text = "".join([cells[i] for i in rows.tolist()])
        if not text.isascii():
            return None
        result[rows] = _usual(_block(text.encode("ascii"), size)[:, : size - zoned])
    if not cells or np.isnan(result).any():
        return None
    return result, 10.0 ** -max(max(sizes) - zoned - _WHOLE - 1, 0), zoned


def _block(text: bytes, size: int) -> _Block:
    return np.frombuffer(text, np.uint8).reshape(-1, size)


def _usual(block: _Block) -> FloatArray:
    """Return the instants of rows of one length in the usual form, without the Z; NaN for the others."""
    size = block.shape[1]
    marks = _MARKS | ({_BEFORE_FRACTION: b"."} if size > _WHOLE else {})
    places = [i for i in range(size) if i not in marks and i != _BETWEEN]
    digits = (block - np.uint8(48)).astype(np.int64)
    good = (digits[:, places] < 10).all(axis=1)
    for at, mark in marks.items():
        good &= block[:, at] == mark[0]
    good &= (block[:, _BETWEEN] == ord(b"T")) | (block[:, _BETWEEN] == ord(b" "))

    def whole(start: int, stop: int) -> IntArray:
        return np.asarray(digits[:, start:stop] @ 10 ** np.arange(stop - start)[::-1], np.int64)

    hour, minute, second = whole(11, 13), whole(14, 16), whole(17, 19)
    good &= (hour < 24) & (minute < 60) & (second < 60)
    written: IntArray = np.where(good, whole(0, 4) * 10_000 + whole(5, 7) * 100 + whole(8, 10), 0)
    dates, place = np.unique(written, return_inverse=True)
    days = [days_since_1970(date // 10_000, date // 100 % 100, date % 100) if date else None for date in dates.tolist()]
    good &= np.array([number is not None for number in days])[place]
    day = np.array([number or 0 for number in days], np.int64)[place]
    counted = min(max(size - _WHOLE - 1, 0), _MICRO)
    fraction = whole(_WHOLE + 1, _WHOLE + 1 + counted) * 10 ** (_MICRO - counted) if counted else 0
    micros = (day * 86400 + hour * 3600 + minute * 60 + second) * 10**_MICRO + fraction
    return np.where(good, micros / 10.0**_MICRO, np.nan)
