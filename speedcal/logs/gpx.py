"""GPX 1.0 and 1.1 in one pass over the bytes into arrays; waypoints named with readings; and a track as GPX 1.1.

Recorded speed may stand in the 1.0 ``speed`` element, in the TrackPointExtension of any version and prefix, in a bare
``speed`` of a 1.1 file, or in another extension that holds one. Entities need a document type declaration, and that is
refused, as are depth, elements and bytes beyond the limits.
"""

from __future__ import annotations

import math
import re
from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, tzinfo
from typing import Any
from xml.etree import ElementTree

import numpy as np

from speedcal.finding import Finding
from speedcal.logs import limits
from speedcal.logs.formats import LogFormat, Request
from speedcal.logs.headers import normal, speed_unit_in
from speedcal.logs.readings import Readings, Shown, Stamps, build_readings
from speedcal.logs.source import Source
from speedcal.logs.track import Fixes, Track, build_track
from speedcal.logs.written_times import parse_stamp
from speedcal.logs.xmltree import local, refuse_doctype, root_name
from speedcal.units import SpeedUnit

TRACK_POINT_EXTENSION = "http://www.garmin.com/xmlschemas/TrackPointExtension/v2"
"""Namespace of the open schema in which GPX 1.1 carries the speed of a fix."""
_SPEED = re.compile(r"^(?:gps|ground|doppler|sog)?_?speed(?:_?(?:mps|m_s))?$|^sog$", re.IGNORECASE)
_NAN = math.nan
_TAKEN = frozenset({"trkseg", "wpt", "rtept", "gpx"})
_MOST_IN_POINT = 40
"""Elements of a point, which are forgotten with it; all others stay in memory."""
_PIECE = 1 << 18
_LONGEST_TOKEN = 16 << 20
"""Bytes of a comment or tag that has not ended yet; the parser looks anew at all of it with every piece."""
_UTF_8 = re.compile(rb"\s*<\?xml[^>]{0,200}?encoding\s*=\s*[\"'](?i:utf-8|us-ascii|ascii)[\"']")
_DECLARES = re.compile(rb"\s*<\?xml[^>]{0,200}?encoding")
_NAMED = re.compile(
    r"(?:(?:indicated|speedo(?:meter)?|dial|needle|reading|shown?|reads?)[ :=]*)?(\d{1,3}(?:[.,]\d{1,2})?)"
    r" ?([a-z/]+(?: [a-z/]+)*)?"
)


@dataclass(slots=True)
class _Waypoint:
    time_s: float = math.nan
    texts: dict[str, str] = field(default_factory=dict)
    """Name, comment and description."""


class _Document:
    """Takes the elements as the parser ends them: points go into arrays and are forgotten, the rest is passed over."""

    def __init__(self, zone: tzinfo | None) -> None:
        self.zone = zone
        self.version, self.root = "", ""
        self.time, self.latitude, self.longitude, self.elevation, self.speed = (array("d") for _ in range(5))
        self.segment = array("q")
        self.waypoints: list[_Waypoint] = []
        self.outside = self.naive = self.route_points = 0
        self._pieces = 0
        self._in_segment = 0
        """Points since the last end of a segment."""
        self._names = _Names()
        self._days: dict[str, float] = {}

    @property
    def unclaimed(self) -> int:
        """Points after the last segment."""
        return self._in_segment

    def take(self, events: Iterator[Any]) -> int:
        """Take what one piece of the document brought, and return how many elements that ended."""
        names, count = self._names, 0
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
        if name == "trkseg":
            self.outside += self._in_segment - sum(1 for child in element if self._names[child.tag] == "trkpt")
            self._in_segment = 0
            self._pieces += 1
            element.clear()
        elif name == "wpt":
            self.waypoints.append(self._waypoint(element))
            element.clear()
        elif name == "rtept":
            self.route_points += 1
            element.clear()
        else:
            self.root, self.version = name, element.get("version", "")

    def _take_point(self, point: ElementTree.Element) -> None:
        self._in_segment += 1
        time_s = elevation = speed = None
        names = self._names
        for child in point:
            name = names[child.tag]
            if name == "time":
                time_s = self._instant(child.text or "") if time_s is None else time_s
            elif name == "ele":
                elevation = _float(child.text) if elevation is None else elevation
            elif speed is None:
                if name == "speed":
                    speed = _float(child.text)
                elif name == "extensions":
                    speed = self._extended(child)
        self.time.append(_NAN if time_s is None else time_s)
        self.latitude.append(_float(point.get("lat")))
        self.longitude.append(_float(point.get("lon")))
        self.elevation.append(_NAN if elevation is None else elevation)
        self.speed.append(_NAN if speed is None else speed)
        self.segment.append(self._pieces)

    def _extended(self, extensions: ElementTree.Element) -> float | None:
        """Return the first speed among the extensions of a point."""
        for node in extensions.iter():
            if self._names.is_speed(node.tag) and node.text and node.text.strip():
                return _float(node.text)
        return None

    def _waypoint(self, point: ElementTree.Element) -> _Waypoint:
        found = _Waypoint()
        for child in point:
            name = self._names[child.tag]
            if name == "time":
                found.time_s = self._instant(child.text or "")
            elif name in {"name", "cmt", "desc"}:
                found.texts.setdefault(name, child.text or "")
        return found

    def _instant(self, text: str) -> float:
        """Return seconds since 1970; the usual form is read without the general reader of times."""
        if len(text) >= 20 and text[-1] == "Z" and text[10] == "T" and text[13] == text[16] == ":":
            day = self._days.get(text[:10])
            hour, minute, second = text[11:13], text[14:16], text[17:19]
            if day is not None and (hour + minute + second).isdecimal() and hour < "24" and minute < "60" > second:
                fraction = text[19:-1]
                if not fraction:
                    return day + int(hour) * 3600 + int(minute) * 60 + int(second)
                if fraction[0] == "." and fraction[1:].isdecimal() and len(fraction) < 11:
                    return day + int(hour) * 3600 + int(minute) * 60 + float(text[17:-1])
        stamp = parse_stamp(text.strip()) if len(text) < limits.MAX_LINE else None
        if stamp is None or stamp.kind not in {"zoned", "naive"}:
            return _NAN
        if stamp.kind == "naive":
            self.naive += 1
            if self.zone is not None:
                return datetime.fromtimestamp(stamp.value, UTC).replace(tzinfo=self.zone).timestamp()
        elif text[10:11] == "T" and text[-1:] == "Z" and len(self._days) < limits.MAX_COLUMNS:
            self._days[text[:10]] = stamp.value - stamp.value % 86400.0
        return stamp.value


def _float(text: str | None) -> float:
    """Return a number, NaN when it is none; what is not finite is left to the building of the track."""
    try:
        return float(text or "nan")
    except ValueError:
        return _NAN


class _Names(dict[str, str]):
    """Names of elements without their namespaces, each found once."""

    def __init__(self) -> None:
        super().__init__()
        self._speeds: dict[str, bool] = {}

    def __missing__(self, tag: str) -> str:
        name = local(tag)
        if len(self) < limits.MAX_COLUMNS:
            self[tag] = name
        return name

    def is_speed(self, tag: str) -> bool:
        """Tell whether an element of the extensions is called a speed."""
        found = self._speeds.get(tag)
        if found is None:
            found = _SPEED.match(local(tag)) is not None
            if len(self._speeds) < limits.MAX_COLUMNS:
                self._speeds[tag] = found
        return found


def _read(source: Source, zone: tzinfo | None) -> _Document:
    """Return what stands in the document."""
    data = source.data
    if data[:2] in {b"\xff\xfe", b"\xfe\xff"} or (_DECLARES.match(data[:400]) and not _UTF_8.match(data[:400])):
        data = re.sub(r"^\s*<\?xml[^>]*\?>", "", source.text(), count=1).encode("utf-8", "replace")
    data = data.removeprefix(b"\xef\xbb\xbf").lstrip()
    refuse_doctype(source, data)
    document = _Document(zone)
    try:
        _feed(source, document, memoryview(data))
    except ElementTree.ParseError as error:
        source.text()  # says so where the text is not what its encoding promises
        source.fail("damaged_xml", line=error.position[0], reason=str(error).split(":")[0])
    document.outside += document.unclaimed
    if document.root != "gpx":
        source.fail("other_xml", found=root_name(source))
    return document


def _feed(source: Source, document: _Document, data: memoryview) -> None:
    parser: ElementTree.XMLPullParser[Any] = ElementTree.XMLPullParser(("end",))
    elements = silent = 0
    for start in range(0, len(data), _PIECE):
        piece = bytes(data[start : start + _PIECE])
        elements += piece.count(b"<") - piece.count(b"</")
        beside = elements - _MOST_IN_POINT * len(document.time)
        if elements > limits.MAX_XML_ELEMENTS or beside > limits.MAX_TREE_ELEMENTS:
            source.fail("xml_too_large", most=limits.MAX_XML_ELEMENTS)
        parser.feed(piece)
        silent = 0 if document.take(parser.read_events()) else silent + len(piece)
        if silent > _LONGEST_TOKEN:
            source.fail("endless_tag", most=_LONGEST_TOKEN >> 20)
        if len(document.time) > limits.MAX_POINTS:
            source.fail("too_many", what="fixes", most=limits.MAX_POINTS)
    parser.close()
    document.take(parser.read_events())


def _read_track(source: Source, zone: tzinfo | None) -> Track:
    document = _read(source, zone)
    if document.outside:
        source.fail("points_outside", count=document.outside)
    if not document.time and document.route_points:
        source.fail("planned_route")
    findings = []
    if document.naive and zone is None:
        findings.append(Finding("time_without_zone", count=document.naive))
    fixes = Fixes(
        time_s=np.frombuffer(document.time),
        latitude_deg=np.frombuffer(document.latitude),
        longitude_deg=np.frombuffer(document.longitude),
        elevation_m=np.frombuffer(document.elevation),
        speed_mps=np.frombuffer(document.speed),
        segment=np.frombuffer(document.segment, np.int64),
        findings=findings,
    )
    return build_track(source, {"1.0": "gpx_1_0", "1.1": "gpx_1_1"}.get(document.version, "gpx"), fixes)


def _read_waypoints(source: Source, request: Request) -> Readings:
    """Return the readings that the waypoints are named with; they carry the time of the track.

    The name counts, or the comment or description if the name is none. Other waypoints are left out and counted.
    """
    document = _read(source, request.zone)
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
        times.append(waypoint.time_s)
        place.append(number)
    if not speeds:
        source.fail("no_named_waypoints", count=len(document.waypoints))
    if not units:
        source.fail("no_speed_unit")
    if len(units) > 1:
        source.fail("several_units", units=list(units))
    resolution = 1.0 if all(float(time).is_integer() for time in times if math.isfinite(time)) else 0.001
    stamps = Stamps(np.array(times), "gps", resolution)
    shown = Shown(stamps, np.array(speeds), next(iter(units)), place)
    shown.dropped["waypoint_without_speed"] = len(document.waypoints) - len(speeds)
    return build_readings(source, "gpx_waypoints", shown)


def _reading(waypoint: _Waypoint) -> tuple[float, SpeedUnit | None] | None:
    for text in (waypoint.texts.get(name) for name in ("name", "cmt", "desc")):
        found = _NAMED.fullmatch(normal(text[:100])) if text else None
        if found:
            unit = speed_unit_in(found.group(2) or "")
            if unit is not None or not found.group(2):
                return float(found.group(1).replace(",", ".")), unit
    return None


def render_gpx(track: Track, *, creator: str = "speedcal", name: str | None = None) -> str:
    """Return the track as GPX 1.1: positions to 1e-7 degrees, times to a millisecond, speeds to 1 mm/s."""
    import gpxpy.gpx

    gpx = gpxpy.gpx.GPX()
    gpx.creator = creator
    gpx.nsmap["gpxtpx"] = TRACK_POINT_EXTENSION
    recorded = gpxpy.gpx.GPXTrack(name=name)
    gpx.tracks.append(recorded)
    for number in np.unique(track.segment):
        segment = gpxpy.gpx.GPXTrackSegment()
        recorded.segments.append(segment)
        for i in np.flatnonzero(track.segment == number):
            point = gpxpy.gpx.GPXTrackPoint(
                round(float(track.latitude_deg[i]), 7),
                round(float(track.longitude_deg[i]), 7),
                elevation=round(float(track.elevation_m[i]), 3) if np.isfinite(track.elevation_m[i]) else None,
                time=datetime.fromtimestamp(round(float(track.time_s[i]), 3), UTC),
            )
            if np.isfinite(track.speed_mps[i]):
                extension = ElementTree.Element(f"{{{TRACK_POINT_EXTENSION}}}TrackPointExtension")
                speed = ElementTree.SubElement(extension, f"{{{TRACK_POINT_EXTENSION}}}speed")
                speed.text = f"{track.speed_mps[i]:.3f}"
                point.extensions.append(extension)
            segment.points.append(point)
    return str(gpx.to_xml(version="1.1"))


FORMAT = LogFormat("gpx", lambda source: root_name(source) == "gpx", track=_read_track, readings=_read_waypoints)
