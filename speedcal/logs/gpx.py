"""GPX 1.0 and 1.1, read through gpxpy.

gpxpy reads positions, times and elevations; it never computes a distance or a speed here. It sees a copy of the
document that our guarded parser has been through, without extensions (it copies each of them) and with numbers
that are none written as NaN (one of them would end the whole file). Recorded speed is taken from the same bytes: it
may stand in the 1.0 ``speed`` element, in the TrackPointExtension of any version and prefix, in a bare ``speed``
of a 1.1 file, which gpxpy drops, or in another extension that holds one.
"""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime, tzinfo
from typing import Any
from xml.etree import ElementTree

from speedcal.finding import Finding
from speedcal.logs.fixes import Fixes, build_track
from speedcal.logs.formats import LogFormat, Request
from speedcal.logs.model import Readings, Track
from speedcal.logs.source import Source
from speedcal.logs.stamp_text import parse_stamp
from speedcal.logs.xmltree import local, number_in, parse, root_name

_KEPT = {"gpx", "trk", "trkseg", "trkpt", "wpt", "ele", "time", "name", "cmt", "desc", "sym", "type"}
_SPEED = re.compile(r"^(?:gps|ground|doppler|sog)?_?speed(?:_?(?:mps|m_s))?$|^sog$", re.IGNORECASE)


def read_document(source: Source) -> tuple[Any, list[float], str]:
    """Return what gpxpy makes of the document, the recorded speed of every track point [m/s], and the version."""
    import gpxpy.parser

    root, text = parse(source)
    if local(root.tag) != "gpx":
        source.fail(f"the XML document is {local(root.tag)!r}, not GPX")
    version = root.get("version", "")
    speeds = [_recorded_speed(point) for point in root.iter() if local(point.tag) == "trkpt"]
    _clean(root)
    with source.foreign("GPX"):
        document = gpxpy.parser.GPXParser(ElementTree.tostring(root, encoding="unicode")).parse()
    found = sum(len(segment.points) for track in document.tracks for segment in track.segments)
    if found != len(speeds):
        source.fail(
            f"{len(speeds) - found} of {len(speeds)} track points stand outside a track segment",
            remedy="Export the recording again",
        )
    if not found and "<rtept" in text:
        source.fail("the file holds a planned route, not a recorded drive", remedy="Give the recording")
    return document, speeds, version


def _read_track(source: Source, zone: tzinfo | None) -> Track:
    document, speeds, version = read_document(source)
    pieces = [segment.points for track in document.tracks for segment in track.segments]
    points = [point for piece in pieces for point in piece]
    times = [instant(point.time, zone) for point in points]
    findings = []
    naive = sum(1 for point in points if point.time is not None and point.time.tzinfo is None)
    if naive and zone is None:
        text = f"{naive} times carry no zone; GPX prescribes UTC, and so they were taken"
        findings.append(Finding("time_without_zone", text))
    fixes = Fixes(
        time_s=times,
        latitude_deg=[point.latitude for point in points],
        longitude_deg=[point.longitude for point in points],
        elevation_m=[math.nan if point.elevation is None else point.elevation for point in points],
        speed_mps=speeds,
        segment=[number for number, piece in enumerate(pieces) for _ in piece],
        findings=findings,
    )
    return build_track(source, f"GPX {version}".strip(), fixes)


def instant(time: datetime | None, zone: tzinfo | None = None) -> float:
    """Return seconds since 1970-01-01, NaN for no time; without a zone of its own it is taken as UTC or in ``zone``."""
    if time is None:
        return math.nan
    return (time if time.tzinfo is not None else time.replace(tzinfo=zone or UTC)).timestamp()


def _read_waypoints(source: Source, request: Request) -> Readings:
    from speedcal.logs.waypoints import read_waypoints

    return read_waypoints(source, request)


def _recorded_speed(point: ElementTree.Element) -> float:
    """Return the speed written with a track point, NaN when there is none. [m/s]."""
    for child in point:
        name = local(child.tag)
        if name == "speed":
            return number_in(child.text)
        if name == "extensions":
            for node in child.iter():
                if _SPEED.match(local(node.tag)) and node.text and node.text.strip():
                    return number_in(node.text)
    return math.nan


def _clean(root: ElementTree.Element) -> None:
    """Leave only what gpxpy shall read, without namespaces and with numbers and times it can read."""
    waiting = [root]
    while waiting:
        element = waiting.pop()
        element.tag = name = local(element.tag)
        element[:] = [child for child in element if local(child.tag) in _KEPT]
        waiting.extend(element)
        if name in {"trkpt", "wpt"}:
            element.attrib = {key: str(number_in(element.get(key))) for key in ("lat", "lon")}
        elif name == "ele":
            element.text = str(number_in(element.text))
        elif name == "time":
            element.text = _readable_time(element.text)
        elif name == "gpx":
            element.attrib = {"version": element.get("version", "")}


_PLAIN_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d{1,6})?Z")


def _readable_time(text: str | None) -> str | None:
    """Return a time in the form that gpxpy reads; what means no instant comes back as it was and ends as missing."""
    if text is None or _PLAIN_TIME.fullmatch(text):
        return text
    stamp = parse_stamp(text.strip())
    if stamp is None or stamp.kind not in {"zoned", "naive"}:
        return text
    written = datetime.fromtimestamp(stamp.value, UTC).replace(tzinfo=None).isoformat()
    return written + ("Z" if stamp.kind == "zoned" else "")


FORMAT = LogFormat("GPX", lambda source: root_name(source) == "gpx", track=_read_track, readings=_read_waypoints)
