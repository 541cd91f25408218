"""KML with timed tracks (``gx:Track``, and ``Track`` of KML 2.3), or with points that carry a time each."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree

import numpy as np

from speedcal.finding import Finding
from speedcal.logs.drive.track import Fixes, Track, build_track
from speedcal.logs.formats.registry import LogFormat, Request
from speedcal.logs.formats.xmltree import local, number_in, parse, root_name
from speedcal.logs.source import Source
from speedcal.logs.writing.patterns import late_pattern
from speedcal.logs.writing.written_times import parse_instant

_SPEED = late_pattern(r"(?:gps|ground)?[ _]?speed", re.IGNORECASE)


def _read_track(source: Source, request: Request) -> Track:
    root = parse(source)
    tracks = [element for element in root.iter() if local(element.tag) == "Track"]
    points = [] if tracks else [found for element in root.iter() if (found := _point(element))]
    if not tracks and not points:
        source.fail("no_timed_track")
    times = [when for when, _ in points]
    places = [place for _, place in points]
    speeds = [math.nan] * len(points)
    segments = [0] * len(points)
    for piece, track in enumerate(tracks):
        whens = [node.text or "" for node in track if local(node.tag) == "when"]
        coords = [node.text or "" for node in track if local(node.tag) == "coord"]
        if len(whens) != len(coords):
            source.fail("times_without_positions", track=piece + 1, times=len(whens), positions=len(coords))
        times += whens
        places += coords
        speeds += _speeds(track, len(whens))
        segments += [piece] * len(whens)
    has_speed = not all(map(math.isnan, speeds))
    longitude, latitude, elevation = np.array([_place(text) for text in places]).reshape(-1, 3).T
    fixes = Fixes(
        time_s=[parse_instant(when.strip()) for when in times],
        latitude_deg=latitude,
        longitude_deg=longitude,
        elevation_m=elevation,
        speed_mps=speeds,
        segment=segments,
        findings=[Finding("speed_unit_assumed", column="speed")] if has_speed else [],
    )
    return build_track(source, "kml", fixes)


def _point(placemark: ElementTree.Element) -> tuple[str, str] | None:
    """Return time and coordinates of a placemark; None of one that lacks either, and of any other element."""
    if local(placemark.tag) != "Placemark":
        return None
    texts = {local(node.tag): node.text or "" for node in placemark.iter()}
    when = texts.get("when") or texts.get("begin")
    return (when, texts["coordinates"]) if when and {"Point", "coordinates"} <= set(texts) else None


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
