"""Training Center XML: the trackpoints of every lap, speed from the ActivityExtension."""

from __future__ import annotations

import math
from xml.etree import ElementTree

from speedcal.logs.drive.track import Fixes, Track, build_track
from speedcal.logs.formats.registry import LogFormat, Request
from speedcal.logs.formats.xmltree import local, number_in, parse, root_name
from speedcal.logs.source import Source
from speedcal.logs.writing.written_times import parse_instant

_PARTS = {"Time", "LatitudeDegrees", "LongitudeDegrees", "AltitudeMeters", "Speed"}


def _read_track(source: Source, request: Request) -> Track:
    root = parse(source)
    rows: list[dict[str, str]] = []
    segments: list[int] = []
    tracks = [element for element in root.iter() if local(element.tag) == "Track"]
    for piece, track in enumerate(tracks):
        for point in track:
            if local(point.tag) == "Trackpoint":
                rows.append(_parts(point))
                segments.append(piece)
    outside = sum(1 for element in root.iter() if local(element.tag) == "Trackpoint") - len(rows)
    if outside:
        source.fail("points_outside", count=outside)
    fixes = Fixes(
        time_s=[parse_instant(row["Time"]) if "Time" in row else math.nan for row in rows],
        latitude_deg=[number_in(row.get("LatitudeDegrees")) for row in rows],
        longitude_deg=[number_in(row.get("LongitudeDegrees")) for row in rows],
        elevation_m=[number_in(row.get("AltitudeMeters")) for row in rows],
        speed_mps=[number_in(row.get("Speed")) for row in rows],
        segment=segments,
    )
    return build_track(source, "tcx", fixes)


def _parts(point: ElementTree.Element) -> dict[str, str]:
    found = {local(node.tag): (node.text or "").strip() for node in point.iter()}
    return {name: text for name, text in found.items() if name in _PARTS and text}


FORMAT = LogFormat("tcx", lambda source: root_name(source) == "TrainingCenterDatabase", track=_read_track)
