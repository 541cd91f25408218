"""What stands in a GPX document: the parser's elements and the runs of points beside them, as arrays and waypoints."""

from __future__ import annotations

import math
import re
from array import array
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, tzinfo
from typing import Any
from xml.etree import ElementTree

from speedcal.logs import limits
from speedcal.logs.formats.gpx_points import MARK, Run, numbers
from speedcal.logs.formats.xmltree import local, number_in
from speedcal.logs.writing.instants import read_instants
from speedcal.logs.writing.patterns import late_pattern
from speedcal.logs.writing.written_times import parse_stamp
from speedcal.units import SPEED_UNIT_MPS, parse_speed_unit

_SPEED = late_pattern(
    r"(?:gps|ground|doppler|sog)?_?speed(?:_?(?P<unit>mps|m_s|kmh|kph|km_h|mph|kn|kt|knots))?|sog", re.IGNORECASE
)
_TAKEN = frozenset({"trkseg", "trk", "wpt", "rtept", "gpx", MARK})
_NAN = math.nan
_LONGEST_NAME = 80


@dataclass(slots=True)
class Waypoint:
    """A named point: its time [s since 1970] and its texts."""

    time_s: float = math.nan
    latitude_deg: float = math.nan
    longitude_deg: float = math.nan
    elevation_m: float = math.nan
    texts: dict[str, str] = field(default_factory=dict)
    """Name, comment and description."""


class Document:
    """Takes the elements as the parser ends them: points go into arrays and are forgotten, the rest is passed over."""

    def __init__(self, zone: tzinfo | None) -> None:
        self.zone = zone
        self.version, self.root = "", ""
        self.time, self.latitude, self.longitude, self.elevation, self.speed = (array("d") for _ in range(5))
        self.segment = array("q")
        self.waypoints: list[Waypoint] = []
        self.route: list[Waypoint] = []
        """Points of routes that have a time."""
        self.tracks: list[tuple[str, int]] = []
        """Name of each track, and the number of the segment after its last."""
        self.cut_off = False
        """The file ends before its outermost element does."""
        self.outside = self.naive = self.route_points = 0
        self.runs: deque[Run] = deque()
        """Points taken out of the text whose marks have not come yet."""
        self.names = Names()
        self._sizes: dict[ElementTree.Element, int] = {}
        """Points that the marks of this segment stand for."""
        self._pieces = 0
        self._in_segment = 0
        """Points since the last end of a segment."""

    @property
    def unclaimed(self) -> int:
        """Points after the last segment."""
        return self._in_segment

    def take(self, events: Iterator[Any]) -> int:
        """Take what one piece of the document brought, and return how many elements that ended."""
        names, count = self.names, 0
        for _, element in events:
            count += 1
            name = names[element.tag]
            if name == "trkpt":
                self._take_point(element)
                element.clear()
            elif name in _TAKEN:
                self._take_other(name, element)
        return count

    def _take_other(self, name: str, element: ElementTree.Element) -> None:
        if name == MARK:
            if self.runs:
                self._sizes[element] = self.runs[0].count
                self._take_run(self.runs.popleft())
        elif name == "trkseg":
            known = self._sizes
            self.outside += self._in_segment
            self.outside -= sum(known.get(child, int(self.names[child.tag] == "trkpt")) for child in element)
            self._in_segment = 0
            known.clear()
            self._pieces += 1
            element.clear()
        elif name == "trk":
            title = next((child.text or "" for child in element if self.names[child.tag] == "name"), "")
            self.tracks.append((title.strip()[:_LONGEST_NAME], self._pieces))
            element.clear()
        elif name == "wpt":
            self.waypoints.append(self._waypoint(element))
            element.clear()
        elif name == "rtept":
            point = self._waypoint(element)
            if math.isfinite(point.time_s):
                self.route.append(point)
            self.route_points += 1
            element.clear()
        else:
            self.root, self.version = name, element.get("version", "")

    def _take_run(self, run: Run) -> None:
        self._in_segment += run.count
        texts = run.texts
        for name, column in (
            ("lat", self.latitude),
            ("lon", self.longitude),
            ("ele", self.elevation),
            ("speed", self.speed),
        ):
            column.frombytes(numbers(texts.get(name, ()), run.count).tobytes())
        self.time.frombytes(read_instants(texts.get("time", (None,) * run.count), self._instant).tobytes())
        self.segment.extend([self._pieces] * run.count)

    def _take_point(self, point: ElementTree.Element) -> None:
        self._in_segment += 1
        time_s = elevation = speed = None
        names = self.names
        for child in point:
            name = names[child.tag]
            if name == "time":
                time_s = self._instant(child.text or "") if time_s is None else time_s
            elif name == "ele":
                elevation = number_in(child.text) if elevation is None else elevation
            elif speed is None:
                if name == "speed":
                    speed = number_in(child.text)  # m/s, by GPX 1.0
                elif name == "extensions":
                    speed = self._extended(child)
        self.time.append(_NAN if time_s is None else time_s)
        self.latitude.append(number_in(point.get("lat")))
        self.longitude.append(number_in(point.get("lon")))
        self.elevation.append(_NAN if elevation is None else elevation)
        self.speed.append(_NAN if speed is None else speed)
        self.segment.append(self._pieces)

    def _extended(self, extensions: ElementTree.Element) -> float | None:
        """Return the first speed among the extensions of a point."""
        for node in extensions.iter():
            mps = self.names.mps_in(node.tag)
            if mps and node.text and node.text.strip():
                return number_in(node.text) * mps
        return None

    def _waypoint(self, point: ElementTree.Element) -> Waypoint:
        found = Waypoint(latitude_deg=number_in(point.get("lat")), longitude_deg=number_in(point.get("lon")))
        for child in point:
            name = self.names[child.tag]
            if name == "time":
                found.time_s = self._instant(child.text or "")
            elif name == "ele":
                found.elevation_m = number_in(child.text)
            elif name in {"name", "cmt", "desc"}:
                found.texts.setdefault(name, child.text or "")
        return found

    def take_loose(self, points: list[Waypoint]) -> None:
        """Take waypoints and points of routes as the fixes of one segment."""
        self.time.extend(point.time_s for point in points)
        self.latitude.extend(point.latitude_deg for point in points)
        self.longitude.extend(point.longitude_deg for point in points)
        self.elevation.extend(point.elevation_m for point in points)
        self.speed.extend([_NAN] * len(points))
        self.segment.extend([0] * len(points))

    def _instant(self, text: str) -> float:
        """Return seconds since 1970."""
        stamp = parse_stamp(text.strip()) if len(text) < limits.MAX_LINE else None
        if stamp is None or stamp.kind not in {"zoned", "naive"}:
            return _NAN
        if stamp.kind == "naive":
            self.naive += 1
            if self.zone is not None:
                return datetime.fromtimestamp(stamp.value, UTC).replace(tzinfo=self.zone).timestamp()
        return stamp.value


class Names(dict[str, str]):
    """Names of elements without their namespaces, each found once."""

    def __init__(self) -> None:
        super().__init__()
        self._speeds: dict[str, float] = {}

    def __missing__(self, tag: str) -> str:
        name = local(tag)
        if len(self) < limits.MAX_COLUMNS:
            self[tag] = name
        return name

    def mps_in(self, tag: str) -> float:
        """Return metres per second in the unit of an element of the extensions; 0 of one that is called no speed."""
        found = self._speeds.get(tag)
        if found is None:
            named = _SPEED.fullmatch(local(tag))
            unit = parse_speed_unit((named["unit"] or "mps").replace("_", "/")) if named else None
            found = SPEED_UNIT_MPS[unit] if unit else 0.0
            if len(self._speeds) < limits.MAX_COLUMNS:
                self._speeds[tag] = found
        return found
