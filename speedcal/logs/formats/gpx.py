"""GPX 1.0 and 1.1 in one pass over the bytes into arrays; waypoints named with readings; and a track as GPX 1.1.

Recorded speed may stand in the 1.0 ``speed`` element, in the TrackPointExtension of any version and prefix, in a bare
``speed`` of a 1.1 file, or in another extension that holds one. Entities need a document type declaration, and that is
refused, as are depth, elements and bytes beyond the limits.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from datetime import UTC, datetime, tzinfo
from typing import Any
from xml.etree import ElementTree
from xml.parsers.expat import errors
from xml.parsers.expat.errors import codes

import numpy as np

from speedcal.finding import Finding
from speedcal.interval import BoolArray
from speedcal.logs import limits
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.readings_built import Shown, Stamps, build_readings
from speedcal.logs.drive.track import Fixes, Track, build_track
from speedcal.logs.drive.tracks_at_once import are_apart
from speedcal.logs.formats.gpx_document import Document, Names, Waypoint
from speedcal.logs.formats.gpx_points import PointPattern
from speedcal.logs.formats.registry import LogFormat, Request
from speedcal.logs.formats.xmltree import refuse_doctype, root_name
from speedcal.logs.source import Source
from speedcal.logs.tables.sessions import EVERY, choose
from speedcal.logs.writing.headers import normal, speed_unit_in
from speedcal.logs.writing.patterns import late_pattern
from speedcal.units import SpeedUnit

TRACK_POINT_EXTENSION = "http://www.garmin.com/xmlschemas/TrackPointExtension/v2"
"""Namespace of the open schema in which GPX 1.1 carries the speed of a fix."""
_MOST_IN_POINT = 40
"""Elements of a point, which are forgotten with it; all others stay in memory."""
_PIECE = 1 << 18
_LONGEST_TOKEN = 16 << 20
"""Bytes of a comment or tag that has not ended yet; the parser looks anew at all of it with every piece."""
_ENDS_EARLY = frozenset(
    codes[reason]
    for reason in (errors.XML_ERROR_NO_ELEMENTS, errors.XML_ERROR_UNCLOSED_TOKEN, errors.XML_ERROR_PARTIAL_CHAR)
)
"""What the parser says of a file that ends too early, as where the phone that recorded it was switched off."""
_SEAM = re.compile(rb"</gpx>\s*(?:\xef\xbb\xbf)?(?:<\?xml[^<>]{0,200}\?>)?\s*<gpx[^<>]{0,5000}>")
"""Where a file was put behind another."""
_RUBBISH = re.compile(rb"</gpx>[^<]+\Z")
_LONE_AND = re.compile(rb"&(?!#?\w{1,20};)")
"""As people write it into a name."""
_COMMAS, _BETWEEN_FIGURES = re.compile(rb"<trkpt\s[^<>]{0,200}?lat=[\"']-?\d{1,2},\d"), re.compile(rb"(?<=\d),(?=\d)")
"""Decimals as the language of a phone writes them."""
_FEWEST_BEFORE_CUT = 10
"""Fixes that make a drive of a file that ends too early."""
_FEWEST_LOOSE, _LONGEST_BETWEEN_S = 10, 15.0
"""Waypoints or points of a route, and what lies between their times, that are a drive of a file without a track; a plan
that says when to arrive has fewer. Our own judgment."""
_UTF_8 = re.compile(rb"\s*<\?xml[^>]{0,200}?encoding\s*=\s*[\"'](?i:utf-8|us-ascii|ascii)[\"']")
_DECLARES = re.compile(rb"\s*<\?xml[^>]{0,200}?encoding")
_NAMED = late_pattern(
    r"(?:(?:indicated|speedo(?:meter)?|dial|needle|reading|shown?|reads?)[ :=]*)?(\d{1,3}(?:[.,]\d{1,2})?)"
    r" ?([a-z/]+(?: [a-z/]+)*)?"
)


def _read(source: Source, zone: tzinfo | None) -> Document:
    """Return what stands in the document."""
    data = source.data
    if data[:2] in {b"\xff\xfe", b"\xfe\xff"} or (_DECLARES.match(data[:400]) and not _UTF_8.match(data[:400])):
        data = re.sub(r"^\s*<\?xml[^>]*\?>", "", source.text(), count=1).encode("utf-8", "replace")
    data = data.removeprefix(b"\xef\xbb\xbf").lstrip()
    if _COMMAS.search(data[:_PIECE]):
        data = _BETWEEN_FIGURES.sub(b".", data)
    refuse_doctype(source, data)
    pattern = PointPattern.of(data, Names().mps_in)
    try:
        document = _fed(source, Document(zone), data, pattern)
    except ElementTree.ParseError:
        document = _fed_whole(source, zone, data)
    if not document.cut_off:
        document.outside += document.unclaimed
    if document.root != "gpx":
        source.fail("other_xml", found=root_name(source))
    return document


def _fed_whole(source: Source, zone: tzinfo | None, data: bytes) -> Document:
    """Give the parser every byte: it says the line of what is wrong, or what stands in a file that ends too early."""
    document = Document(zone)
    try:
        return _fed(source, document, data, None)
    except ElementTree.ParseError as error:
        wrong = error
    whole = data.decode("utf-8", "replace").encode()  # letters of another encoding, as in the name of a road
    mended = _RUBBISH.sub(b"</gpx>", _LONE_AND.sub(b"&amp;", _SEAM.sub(b"", whole)))
    if mended != data:
        document = Document(zone)
        try:
            return _fed(source, document, mended, None)
        except ElementTree.ParseError as error:
            wrong = error if error.code in _ENDS_EARLY else wrong  # with the line of the file as it is
    if wrong.code in _ENDS_EARLY and len(document.time) >= _FEWEST_BEFORE_CUT:
        document.cut_off, document.root = True, root_name(source)
        return document
    source.fail("damaged_xml", line=wrong.position[0], reason=str(wrong).split(":")[0])


def _fed(source: Source, document: Document, data: bytes, pattern: PointPattern | None) -> Document:
    parser: ElementTree.XMLPullParser[Any] = ElementTree.XMLPullParser(("end",))
    elements = silent = start = 0
    while start < len(data):
        end = start + _PIECE
        if pattern is not None:
            end = pattern.end(data, start, end)
        piece = data[start:end]
        start = end
        elements += piece.count(b"<") - piece.count(b"</")
        beside = elements - _MOST_IN_POINT * len(document.time)
        if elements > limits.MAX_XML_ELEMENTS or beside > limits.MAX_TREE_ELEMENTS:
            source.fail("xml_too_large", most=limits.MAX_XML_ELEMENTS)
        if pattern is not None:
            piece, runs = pattern.take_out(piece)
            document.runs.extend(runs)
        parser.feed(piece)
        silent = 0 if document.take(parser.read_events()) else silent + len(piece)
        if silent > _LONGEST_TOKEN:
            source.fail("endless_tag", most=_LONGEST_TOKEN >> 20)
        if len(document.time) > limits.MAX_POINTS:
            source.fail("too_many", what="fixes", most=limits.MAX_POINTS)
    parser.close()
    document.take(parser.read_events())
    return document


def _read_track(source: Source, request: Request) -> Track:
    document = _read(source, request.zone)
    if document.outside:
        source.fail("points_outside", count=document.outside)
    findings: list[Finding] = []
    loose = [] if document.time else [*document.route, *(p for p in document.waypoints if _reading(p) is None)]
    times = sorted(point.time_s for point in loose if math.isfinite(point.time_s))
    if len(times) >= _FEWEST_LOOSE and np.median(np.diff(times)) <= _LONGEST_BETWEEN_S:
        document.take_loose(loose)
        findings = [Finding("waypoints_as_fixes", count=len(times))]
    elif not document.time and document.route_points:
        source.fail("planned_route")
    findings += _cut_off(document)
    if document.naive and request.zone is None:
        findings.append(Finding("time_without_zone", count=document.naive))
    kept = _of_vehicle_meant(source, document, request.session)
    fixes = Fixes(
        time_s=np.frombuffer(document.time)[kept],
        latitude_deg=np.frombuffer(document.latitude)[kept],
        longitude_deg=np.frombuffer(document.longitude)[kept],
        elevation_m=np.frombuffer(document.elevation)[kept],
        speed_mps=np.frombuffer(document.speed)[kept],
        segment=np.frombuffer(document.segment, np.int64)[kept],
        findings=findings,
    )
    return build_track(source, {"1.0": "gpx_1_0", "1.1": "gpx_1_1"}.get(document.version, "gpx"), fixes)


def _of_vehicle_meant(source: Source, document: Document, wanted: str | None) -> BoolArray:
    """Return which fixes are of the vehicle meant, where tracks of one time are in different places; else all."""
    titles = [title for title, _ in document.tracks] + [""]  # a file that ends too early ends within a track
    track = np.searchsorted([end for _, end in document.tracks], np.frombuffer(document.segment, np.int64), "right")
    time_s, latitude, longitude = map(np.frombuffer, (document.time, document.latitude, document.longitude))
    every = np.ones(len(track), bool)
    if len(titles) < 3 or not are_apart(time_s, latitude, longitude, track):
        return every
    names = [name if name and titles.count(name) == 1 else f"track {i}" for i, name in enumerate(titles, 1)]
    chosen = choose(source, Counter(names[i] for i in track), wanted, column=None)
    return every if chosen == EVERY else np.asarray(track == names.index(chosen))


def _cut_off(document: Document) -> list[Finding]:
    return [Finding("cut_off", count=len(document.time))] if document.cut_off else []


def _read_waypoints(source: Source, request: Request) -> Readings:
    """Return the readings that the waypoints are named with; they carry the time of the track.

    The name counts, or the comment or description if the name is none. Other waypoints are left out and counted.
    """
    document = _read(source, request.zone)
    speeds: list[float] = []
    times: list[float] = []
    units: dict[SpeedUnit, None] = {} if request.unit is None else {request.unit: None}
    place: list[int] = []
    for i, waypoint in enumerate(document.waypoints, 1):
        reading = _reading(waypoint)
        if reading is None:
            continue
        value, unit = reading
        if unit is not None:
            units.setdefault(unit)
        speeds.append(value)
        times.append(waypoint.time_s)
        place.append(i)
    if not speeds:
        source.fail("no_named_waypoints", count=len(document.waypoints))
    if not units:
        source.fail("no_speed_unit")
    if len(units) > 1:
        source.fail("several_units", units=list(units))
    resolution = 1.0 if all(float(time).is_integer() for time in times if math.isfinite(time)) else 0.001
    stamps = Stamps(np.array(times), "gps", resolution)
    shown = Shown(stamps, np.array(speeds), next(iter(units)), place, findings=_cut_off(document))
    shown.dropped["waypoint_without_speed"] = len(document.waypoints) - len(speeds)
    return build_readings(source, "gpx_waypoints", shown)


def _reading(waypoint: Waypoint) -> tuple[float, SpeedUnit | None] | None:
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
    for piece in np.unique(track.segment):
        segment = gpxpy.gpx.GPXTrackSegment()
        recorded.segments.append(segment)
        for i in np.flatnonzero(track.segment == piece):
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
