"""Latitudes and longitudes of a table, in whichever way they are written."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray
from speedcal.logs import limits
from speedcal.logs.drive.speed_physics import positions_mps
from speedcal.logs.tables.tabular import Table
from speedcal.logs.writing.headers import Heading, Role, normal
from speedcal.logs.writing.numbers import parse_numbers
from speedcal.logs.writing.patterns import late_pattern

_LONGEST_ANGLE = 60
"""Characters of an angle at most."""
_SEXAGESIMAL = late_pattern(
    r"\s*(?P<before>[NSEWnsew])?\s*(?P<minus>-)?(?P<d>\d{1,3})\s*[°\s:-]\s*(?P<m>\d{1,2}(?:[.,]\d{1,10})?)\s*['′:-]?"
    r"(?:\s*(?P<s>\d{1,2}(?:[.,]\d{1,10})?)\s*(?:\"|″|'')?)?\s*(?P<after>[NSEWnsew])?\s*"
)
_HEMISPHERE = late_pattern(r"\s*(-?[\d.,]+)\s*°?\s*([NSEWnsew])?\s*|\s*([NSEWnsew])\s*(-?[\d.,]+)\s*°?\s*")
_PADDED = {"latitude": late_pattern(r"-?0\d{3}(?:[.,]\d+)?"), "longitude": late_pattern(r"-?0\d{4}(?:[.,]\d+)?")}
"""Degrees in two or three figures and minutes in two, without anything between them."""
_SIDE = late_pattern(
    r"(?<![^\W\d_])(?:(?P<N>n(?:orth|o?ord|orte))|(?P<S>s(?:outh|[uü]d|ur)|zuid)|(?P<E>east|este?|oo?st)"
    r"|(?P<W>west|ouest|oeste))(?![^\W\d_])",
    re.IGNORECASE,
)
_MOST_DEG = {"latitude": 90.0, "longitude": 180.0}
SEMICIRCLE_DEG = 180 / 2**31
"""Degrees in the unit in which FIT writes angles."""
_MILLION, _TEN_MILLION = 1e6, 1e7
_UNDER_WAY = 0.9
"""Share of the fixes beyond whose speed jumps of the receiver are left aside."""
_NAMED_PARTS = {
    _TEN_MILLION: late_pattern(r"(?<![a-z])e-?7(?!\d)"),
    _MILLION: late_pattern(r"(?<![a-z])(?:e-?6(?!\d)|micro ?deg)"),
    60.0: late_pattern(r"^(?!.*(?<![a-z])d(?:d|eg.*min)).*(?<![a-z])min(?:utes?)?(?![a-z])"),
    np.pi / 180: late_pattern(r"(?<![a-z])rad(?:ian)?s?(?![a-z])"),
    1 / SEMICIRCLE_DEG: late_pattern(r"semi ?circles?|position ?(?:lat|long)(?![a-z])"),
}
"""What makes a degree, by the words of a header. Degrees and minutes, ``deg min`` or ``ddmm.mmmm``, are no minutes
alone; under the names of FIT records stand its angles, unless they say otherwise: ``positionLat E7``."""
_SIDES: dict[Role, Role] = {"latitude": "north_south", "longitude": "east_west"}


def read_positions(
    table: Table, headings: Sequence[Heading], findings: list[Finding], time_s: FloatArray, *, comma: bool
) -> tuple[FloatArray, FloatArray]:
    """Return latitude and longitude in degrees.

    N, S, E, W may stand before or behind the number or in a column of their own. The header may say in which part of a
    degree the numbers are. Others beyond 90 and 180 in which the last two whole figures are below 60 throughout are
    degrees and minutes without anything between: ``4807.038``. Whole numbers that are on the globe as ten-millionths of
    a degree, and as millionths are not or faster than any car, are that, or semicircles.
    """
    roles: tuple[Role, Role] = ("latitude", "longitude")
    places = [[i for i, heading in enumerate(headings) if heading.role == role] for role in roles]
    if len(places[0]) == len(places[1]) > 1:  # both of one source
        places = [[i] for i in max(zip(*places, strict=True), key=lambda pair: sum(map(table.variety, pair)))]
    written = [_written(table, headings, role, table.fullest(found)) for role, found in zip(roles, places, strict=True)]
    values = [parse_numbers(cells, decimal_comma=comma).values for cells, _ in written]
    a_degree = _parts_of_degree(values, headings, time_s)
    if a_degree:
        findings.append(Finding("positions_not_in_degrees", a_degree=a_degree))
        values = [angle / a_degree for angle in values]
    elif _are_packed(roles, [cells for cells, _ in written], values):
        findings.append(Finding("positions_in_minutes"))
        values = [_unpacked(angle) for angle in values]
    latitude, longitude = (
        np.where(south_or_west, -np.abs(angle), angle)
        for angle, (_, south_or_west) in zip(values, written, strict=True)
    )
    return latitude, longitude


def are_on_the_globe(latitude: FloatArray, longitude: FloatArray) -> BoolArray:
    """Return which positions can be ones."""
    within = (np.abs(latitude) <= _MOST_DEG["latitude"]) & (np.abs(longitude) <= _MOST_DEG["longitude"])
    return np.asarray(within)


def _written(table: Table, headings: Sequence[Heading], role: Role, index: int | None) -> tuple[list[str], BoolArray]:
    """Return the numbers of a column as they are written, and whether a letter says south or west of each.

    The letter may stand behind the number and in a column of its own, and the number have a minus besides.
    """
    cells = [_lettered(cell) for cell in table.column(index)] if index is not None else []
    if role == "longitude" and index is not None:  # O is ouest, oeste under longitude, else Ost, oost
        cells = [cell.upper().replace("O", "W" if "lon" in normal(table.header[index]) else "E") for cell in cells]
    plain, away = [], np.zeros(len(cells), bool)
    for i, cell in enumerate(cells):
        found = _HEMISPHERE.fullmatch(cell)
        parts = _SEXAGESIMAL.fullmatch(cell) if found is None else None
        if parts:
            cell = _decimal(parts)
        if found:
            number, letter = found.group(1) or found.group(4), found.group(2) or found.group(3) or ""
            away[i] = _sign(letter) < 0
            cell = number
        plain.append(cell)
    side = next((i for i, heading in enumerate(headings) if heading.role == _SIDES[role]), None)
    if side is not None:
        away |= np.array([_sign(_lettered(cell)) < 0 for cell in table.column(side)], bool)
    return plain, away


def _lettered(cell: str) -> str:
    """Return a cell with a letter for each word of a side, empty where it is too long for an angle."""
    return _SIDE.sub(lambda found: str(found.lastgroup), cell) if len(cell) <= _LONGEST_ANGLE else ""


def _sign(letter: str) -> int:
    return -1 if letter.upper() in {"S", "W"} else 1


def _decimal(parts: re.Match[str]) -> str:
    """Return degrees and minutes, perhaps with seconds, as a number of degrees; 60.00 s are a rounded minute."""
    minutes, seconds = (float((parts[name] or "0").replace(",", ".")) for name in ("m", "s"))
    if minutes >= 60 or seconds > 60:
        return ""
    sign = -1 if parts["minus"] else _sign(parts["before"] or parts["after"] or "")
    return repr(sign * (int(parts["d"]) + minutes / 60 + seconds / 3600))


def _parts_of_degree(values: Sequence[FloatArray], headings: Sequence[Heading], time_s: FloatArray) -> float | None:
    """Return how many units of the numbers make a degree, None where they are degrees.

    What the headers say, where it puts the numbers on the globe and degrees do not, or they are radians. Of whole
    numbers ten million, where only this scale, the finest in use, puts both there at the speed of a car; semicircles,
    2^31 to 180 degrees, where ten million to a degree leaves the globe.
    """
    sizes = [np.abs(angle[np.isfinite(angle)]) for angle in values]
    if not all(map(len, sizes)):
        return None
    most = max(size.max() / _MOST_DEG[role] for size, role in zip(sizes, ("latitude", "longitude"), strict=True))
    names = [normal(item.name) for item in headings if item.role in _MOST_DEG]
    whole = all(np.all(size == np.floor(size)) for size in sizes)
    for scale, pattern in _NAMED_PARTS.items():
        fits = most <= scale and (most > 1 or scale < 1) and (whole or scale < _MILLION)
        if fits and any(map(pattern.search, names)):
            return scale
    if not whole or most <= 1:
        return None
    if most <= _MILLION:
        mps = positions_mps(time_s, values[0] / _MILLION, values[1] / _MILLION)
        mps = mps[np.isfinite(mps)]
        return _TEN_MILLION if len(mps) and np.quantile(mps, _UNDER_WAY) > limits.FASTEST_MPS else None
    return next((scale for scale in (_TEN_MILLION, 1 / SEMICIRCLE_DEG) if most <= scale), None)


def _are_packed(roles: Sequence[Role], cells: Sequence[Sequence[str]], values: Sequence[FloatArray]) -> bool:
    beyond = False
    if not any(np.any(angle % 1 > 0) for angle in values):  # a minute is 1.85 km: they were cut
        return False
    for role, texts, angle in zip(roles, cells, values, strict=True):
        size = np.abs(angle[np.isfinite(angle) & (angle != 0)])
        if not len(size) or (size % 100 > 60).any() or (size > 100 * _MOST_DEG[role]).any():
            return False
        padded = sum(1 for text in texts if _PADDED[str(role)].fullmatch(text))
        beyond |= bool(np.median(size) > _MOST_DEG[role]) or 2 * padded > len(texts)
    return beyond


def _unpacked(angle: FloatArray) -> FloatArray:
    degrees = np.floor(np.abs(angle) / 100)
    return np.asarray(np.sign(angle) * (degrees + (np.abs(angle) - 100 * degrees) / 60))
