"""GPX 1.0 and 1.1 in one pass over the bytes into arrays; waypoints named with readings; and a track as GPX 1.1.

Recorded speed may stand in the 1.0 ``speed`` element, in the TrackPointExtension of any version and prefix, in a bare
``speed`` of a 1.1 file, or in another extension that holds one. Entities need a document type declaration, and that is
refused, as are depth, elements and bytes beyond the limits.
"""

from __future__ import annotations

import math
import re
from array import array
from dataclasses import dataclass, field
from datetime import UTC, datetime, tzinfo
from typing import NoReturn
from xml.etree import ElementTree
from xml.parsers import expat

import numpy as np

from speedcal.finding import Finding
from speedcal.logs import limits
from speedcal.logs.formats import LogFormat, Request
from speedcal.logs.headers import normal, speed_unit_in
from speedcal.logs.readings import Readings, Shown, Stamps, build_readings
from speedcal.logs.source import Source
from speedcal.logs.track import Fixes, Track, build_track
from speedcal.logs.written_times import parse_stamp
from speedcal.logs.xmltree import number_in, root_name
from speedcal.units import SpeedUnit

TRACK_POINT_EXTENSION = "http://www.garmin.com/xmlschemas/TrackPointExtension/v2"
"""Namespace of the open schema in which GPX 1.1 carries the speed of a fix."""
_SPEED = re.compile(r"^(?:gps|ground|doppler|sog)?_?speed(?:_?(?:mps|m_s))?$|^sog$", re.IGNORECASE)
_PIECE = 1 << 20
_LONGEST_TOKEN = 16 * _PIECE
"""Bytes of a comment or tag that has not ended yet; the parser looks anew at all of it with every piece."""
_UTF_8 = re.compile(rb"\s*<\?xml[^>]{0,200}?encoding\s*=\s*[\"'](?i:utf-8|us-ascii|ascii)[\"']")
_DECLARES = re.compile(rb"\s*<\?xml[^>]{0,200}?encoding")
_NAMED = re.compile(
    r"(?:(?:indicated|speedo(?:meter)?|dial|needle|reading|shown?|reads?)[ :=]*)?(\d{1,3}(?:[.,]\d{1,2})?)"
    r" ?([a-z/]+(?: [a-z/]+)*)?"
)


class _RefusedError(Exception):
    """The document holds something that no recording holds."""

    def __init__(self, code: str, most: int = 0) -> None:
        super().__init__(code)
        self.code, self.most = code, most


@dataclass(slots=True)
class _Waypoint:
    time_s: float = math.nan
    texts: dict[str, str] = field(default_factory=dict)
    """Name, comment and description."""


class _Document:
    """Takes the events of the parser: what stands in points goes into arrays, everything else is passed over."""

    def __init__(self, zone: tzinfo | None) -> None:
        self.zone = zone
        self.version, self.root = "", ""
        self.time, self.latitude, self.longitude, self.elevation, self.speed = (array("d") for _ in range(5))
        self.segment = array("q")
        self.waypoints: list[_Waypoint] = []
        self.outside = self.naive = self.route_points = 0
        self._pieces = -1
        self._depth = self._elements = 0
        self._segment_depth = self._point_depth = self._extension_depth = 0
        self._waypoint: _Waypoint | None = None
        self._wanted = ""
        self._point: dict[str, float] = {}
        self._text: list[str] = []
        self._locals: dict[str, str] = {}
        self._days: dict[str, float] = {}
        self.parser = parser = expat.ParserCreate("utf-8")
        parser.buffer_text = True
        parser.StartElementHandler, parser.EndElementHandler = self._start, self._end
        parser.StartDoctypeDeclHandler = self._doctype

    def _doctype(self, *_: object) -> NoReturn:
        raise _RefusedError("doctype")

    def _local(self, tag: str) -> str:
        name = self._locals.get(tag)
        if name is None:
            name = tag.rpartition(":")[2]
            if len(self._locals) < limits.MAX_COLUMNS:
                self._locals[tag] = name
        return name

    def _start(self, tag: str, attributes: dict[str, str]) -> None:
        self._depth += 1
        self._elements += 1
        if self._depth > limits.MAX_XML_DEPTH:
            raise _RefusedError("xml_too_deep", limits.MAX_XML_DEPTH)
        if self._elements > limits.MAX_XML_ELEMENTS:
            raise _RefusedError("xml_too_large", limits.MAX_XML_ELEMENTS)
        name = self._local(tag)
        if self._point_depth:
            self._start_in_point(name)
        elif name == "trkpt" or name == "wpt":
            self._point_depth = self._depth
            self._point = {"lat": number_in(attributes.get("lat")), "lon": number_in(attributes.get("lon"))}
            self._waypoint = _Waypoint() if name == "wpt" else None
        elif name == "trkseg":
            self._segment_depth = self._depth
            self._pieces += 1
        elif name == "rtept":
            self.route_points += 1
        elif self._depth == 1:
            self.root, self.version = name, attributes.get("version", "")

    def _start_in_point(self, name: str) -> None:
        own = self._depth == self._point_depth + 1
        if own and name == "extensions":
            self._extension_depth = self._depth
        wanted = name in _OWN if own else bool(self._extension_depth and _SPEED.match(name))
        self._wanted = name if wanted and (own or "speed" not in self._point) else ""
        self._text.clear()
        self.parser.CharacterDataHandler = self._text.append if self._wanted else None

    def _end(self, tag: str) -> None:
        if self._point_depth:
            if self._wanted:
                self._take("".join(self._text), own=self._depth == self._point_depth + 1)
                self._wanted = ""
                self.parser.CharacterDataHandler = None
            elif self._depth == self._point_depth:
                self._finish_point()
            elif self._depth == self._extension_depth:
                self._extension_depth = 0
        elif self._depth == self._segment_depth:
            self._segment_depth = 0
        self._depth -= 1

    def _take(self, text: str, *, own: bool) -> None:
        name = self._wanted if own else "speed"
        if name == "time":
            self._point.setdefault("time", self._instant(text))
        elif name in {"ele", "speed"}:
            if own or text.strip():
                self._point.setdefault(name, number_in(text))
        elif self._waypoint is not None:
            self._waypoint.texts.setdefault(name, text)

    def _instant(self, text: str) -> float:
        """Return seconds since 1970; the usual form is read without the general reader of times."""
        if len(text) >= 20 and text[-1] == "Z" and text[10] == "T" and text[13] == text[16] == ":":
            day = self._days.get(text[:10])
            clock = text[11:13] + text[14:16] + text[17:19]
            if day is not None and clock.isdecimal() and text[11:13] < "24" and text[14:16] < "60" > text[17:19]:
                fraction = text[19:-1]
                if not fraction:
                    return day + int(text[11:13]) * 3600 + int(text[14:16]) * 60 + int(text[17:19])
                if fraction[0] == "." and fraction[1:].isdecimal() and len(fraction) < 11:
                    return day + int(text[11:13]) * 3600 + int(text[14:16]) * 60 + float(text[17:-1])
        stamp = parse_stamp(text.strip()) if len(text) < limits.MAX_LINE else None
        if stamp is None or stamp.kind not in {"zoned", "naive"}:
            return math.nan
        if stamp.kind == "naive":
            self.naive += 1
            if self.zone is not None:
                return datetime.fromtimestamp(stamp.value, UTC).replace(tzinfo=self.zone).timestamp()
        elif text[10:11] == "T" and text[-1:] == "Z" and len(self._days) < limits.MAX_COLUMNS:
            self._days[text[:10]] = stamp.value - stamp.value % 86400.0
        return stamp.value

    def _finish_point(self) -> None:
        point, self._point_depth, self._extension_depth = self._point, 0, 0
        time_s = point.get("time", math.nan)
        if self._waypoint is not None:
            self._waypoint.time_s = time_s
            self.waypoints.append(self._waypoint)
            return
        if not self._segment_depth:
            self.outside += 1
            return
        if len(self.time) >= limits.MAX_POINTS:
            raise _RefusedError("too_many", limits.MAX_POINTS)
        self.time.append(time_s)
        self.latitude.append(point["lat"])
        self.longitude.append(point["lon"])
        self.elevation.append(point.get("ele", math.nan))
        self.speed.append(point.get("speed", math.nan))
        self.segment.append(self._pieces)


_OWN = frozenset({"time", "ele", "speed", "name", "cmt", "desc"})


def _read(source: Source, zone: tzinfo | None) -> _Document:
    """Return what stands in the document."""
    data = source.data
    if not data.startswith(b"\xef\xbb\xbf"):
        if data[:2] in {b"\xff\xfe", b"\xfe\xff"} or (_DECLARES.match(data[:400]) and not _UTF_8.match(data[:400])):
            data = re.sub(r"^\s*<\?xml[^>]*\?>", "", source.text(), count=1).encode("utf-8", "replace")
    else:
        data = data[3:]
    data = data.lstrip()
    document = _Document(zone)
    try:
        _feed(document.parser, memoryview(data))
    except _RefusedError as refused:
        source.fail(refused.code, most=refused.most, what="fixes")
    except expat.ExpatError as error:
        source.text()  # says so where the text is not what its encoding promises
        source.fail("damaged_xml", line=error.lineno, reason=expat.ErrorString(error.code))
    if document.root != "gpx":
        source.fail("other_xml", found=document.root)
    return document


def _feed(parser: expat.XMLParserType, data: memoryview) -> None:
    start, size = 0, 1 << 16
    while start < len(data):  # a refusal stops the parser at the end of a piece only
        parser.Parse(data[start : start + size], False)
        start, size = start + size, _PIECE
        if min(start, len(data)) - parser.CurrentByteIndex > _LONGEST_TOKEN:
            raise _RefusedError("endless_tag", _LONGEST_TOKEN // _PIECE)
    parser.Parse(b"", True)


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
