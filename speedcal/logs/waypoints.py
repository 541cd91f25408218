"""Waypoints of a GPX file that are named with a reading, such as ``45`` or ``speedo 45 mph``."""

from __future__ import annotations

import math
import re
from typing import Any

import numpy as np

from speedcal.logs.formats import Request
from speedcal.logs.gpx import instant, read_document
from speedcal.logs.model import Readings
from speedcal.logs.readings import Shown, build_readings
from speedcal.logs.source import Source
from speedcal.logs.stamps import Stamps
from speedcal.logs.words import normal, speed_unit_in
from speedcal.units import SpeedUnit

_NAMED = re.compile(
    r"(?:(?:indicated|speedo(?:meter)?|dial|reads?|reading|shows?|shown)[\s:=]*)?"
    r"(\d{1,3}(?:[.,]\d)?)\s*([a-z/]+(?: [a-z/]+)*)?"
)
_NO_READING = "the GPX file has no waypoint that is named with a speed"
_NAME_THEM = "Give the readings in a table or notes, or name waypoints with them, such as '45 mph'"


def read_waypoints(source: Source, request: Request) -> Readings:
    """Return the readings that the waypoints are named with; they carry the time of the track.

    The name counts, or the comment or description if the name is none. Other waypoints are left out and counted.

    Raises
    ------
    ReadingsFormatError
        No waypoint is named with a speed and has a time, or no unit is known.
    """
    if "wpt" not in source.text():
        source.fail(_NO_READING, remedy=_NAME_THEM)
    document, _, _ = read_document(source)
    speeds: list[float] = []
    times: list[float] = []
    units: dict[SpeedUnit, None] = {} if request.unit is None else {request.unit: None}
    place: list[int] = []
    for number, waypoint in enumerate(document.waypoints, 1):
        reading = _reading(waypoint)
        if reading is None:
            continue
        value, unit = reading
        if unit is not None:
            units.setdefault(unit)
        speeds.append(value)
        times.append(instant(waypoint.time, request.zone))
        place.append(number)
    if not speeds:
        source.fail(_NO_READING, remedy=_NAME_THEM)
    if len(units) != 1:
        what = f"several units are named: {', '.join(units)}" if units else "no waypoint names a unit of speed"
        source.fail(what, remedy="Give --unit, and keep to one unit")
    resolution = 1.0 if all(float(time).is_integer() for time in times if math.isfinite(time)) else 0.001
    stamps = Stamps(np.array(times), "gps", resolution)
    shown = Shown(stamps, np.array(speeds), next(iter(units)), place)
    shown.dropped["waypoint without a speed"] = len(document.waypoints) - len(speeds)
    return build_readings(source, "GPX waypoints", shown)


def _reading(waypoint: Any) -> tuple[float, SpeedUnit | None] | None:
    for text in (waypoint.name, waypoint.comment, waypoint.description):
        found = _NAMED.fullmatch(normal(text[:100])) if text else None
        if found:
            unit = speed_unit_in(found.group(2) or "")
            if unit is not None or not found.group(2):
                return float(found.group(1).replace(",", ".")), unit
    return None
