"""KML with timed tracks (``gx:Track``, and ``Track`` of KML 2.3), or with points that carry a time each."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree

from speedcal.finding import Finding
from speedcal.logs.formats import LogFormat, Request
from speedcal.logs.source import Source
from speedcal.logs.track import Fixes, Track, build_track
from speedcal.logs.written_times import parse_instant
from speedcal.logs.xmltree import local, number_in, parse, root_name

_SPEED = re.compile(r"(?:gps|ground)?[ _]?speed", re.IGNORECASE)


def _read_track(source: Source, request: Request) -> Track:
    root, _ = parse(source)
    tracks = [element for element in root.iter() if local(element.tag) == "Track"]
    if not tracks:
        return _read_points(source, root)
    times: list[float] = []
    places: list[tuple[float, float, float]] = []
    speeds: list[float] = []
    segments: list[int] = []
    for piece, track in enumerate(tracks):
        whens = [parse_instant((node.text or "").strip()) for node in track if local(node.tag) == "when"]
        coords = [_place(node.text or "") for node in track if local(node.tag) == "coord"]
        if len(whens) != len(coords):
            source.fail("times_without_positions", track=piece + 1, times=len(whens), positions=len(coords))
        times += whens
        places += coords
        speeds += _speeds(track, len(whens))
        segments += [piece] * len(whens)
    findings = []
    if not all(math.isnan(speed) for speed in speeds):
        findings.append(Finding("speed_unit_assumed", column="speed"))
    fixes = Fixes(
        time_s=times,
        latitude_deg=[place[1] for place in places],
        longitude_deg=[place[0] for place in places],
        elevation_m=[place[2] for place in places],
        speed_mps=speeds,
        segment=segments,
        findings=findings,
    )
    return build_track(source, "kml", fixes)


def _read_points(source: Source, root: ElementTree.Element) -> Track:
    """Return the track of placemarks that are a point and a time."""
    points = [parts for element in root.iter() if local(element.tag) == "Placemark" if (parts := _point(element))]
    if not points:
        source.fail("no_timed_track")
    places = [_place(place) for _, place in points]
    fixes = Fixes(
        time_s=[parse_instant(when.strip()) for when, _ in points],
        latitude_deg=[place[1] for place in places],
        longitude_deg=[place[0] for place in places],
        elevation_m=[place[2] for place in places],
    )
    return build_track(source, "kml", fixes)


def _point(placemark: ElementTree.Element) -> tuple[str, str] | None:
    """Return time and coordinates of a placemark, None of one that lacks either or is more than a point."""
    texts = {local(node.tag): node.text or "" for node in placemark.iter()}
    if not {"TimeStamp", "when", "Point", "coordinates"} <= set(texts):
        return None
    return texts["when"], texts["coordinates"]


def _place(text: str) -> tuple[float, float, float]:
    """Return longitude, latitude and elevation from ``lon lat alt``."""
    parts = [number_in(part) for part in text.replace(",", " ").split()[:3]]
    parts += [math.nan] * (3 - len(parts))
    return parts[0], parts[1], parts[2]


def _speeds(track: ElementTree.Element, count: int) -> list[float]:
    """Return the values of the first array that is called a speed and has one value for each fix."""
    for array in track.iter():
        if local(array.tag) == "SimpleArrayData" and _SPEED.fullmatch(array.get("name", "")):
            values = [number_in(node.text) for node in array if local(node.tag) == "value"]
            if len(values) == count:
                return values
    return [math.nan] * count


FORMAT = LogFormat("kml", lambda source: root_name(source) == "kml", track=_read_track)
