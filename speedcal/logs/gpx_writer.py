"""A track as a GPX 1.1 document, through gpxpy."""

from __future__ import annotations

from datetime import UTC, datetime
from xml.etree import ElementTree

import numpy as np

from speedcal.logs.model import Track

TRACK_POINT_EXTENSION = "http://www.garmin.com/xmlschemas/TrackPointExtension/v2"
"""Namespace of the open schema in which GPX 1.1 carries the speed of a fix."""


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
