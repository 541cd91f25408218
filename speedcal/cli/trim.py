"""``speedcal trim``: a drive without its ends, for sharing."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from speedcal.cli._options import FILE, emit, say, write_file
from speedcal.cli._waiting import waiting
from speedcal.errors import SpeedcalError, TrackFormatError
from speedcal.text.codes.command_messages import UNDATED, trimmed, working_on
from speedcal.units import LENGTH_UNIT_M

if TYPE_CHECKING:
    from speedcal.interval import FloatArray
    from speedcal.logs import Track


class _Length(click.ParamType[float]):
    """A length with its unit, in meters."""

    name = "length"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return meters."""
        if isinstance(value, float):
            return value
        found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*([a-z]+)\s*", str(value).lower())
        factor = LENGTH_UNIT_M.get(found.group(2)) if found else None
        if found is None or factor is None:
            raise SpeedcalError("length_unreadable", found=str(value))
        return float(found.group(1)) * factor


@click.command()
@click.argument("track_file", metavar="TRACK", type=FILE)
@click.option("--out", required=True, type=FILE, help="GPX file to write; must not exist yet.")
@click.option("--cut", "cut_m", type=_Length(), default="500m", show_default=True, help="How far around each end.")
@click.option("--session", help="Which vehicle or session, where a file holds several.")
@click.option("--zone", help="Zone of stamps that carry none, such as +02:00, or its name in the IANA database.")
@click.option("--json", "as_json", is_flag=True, help="Write the result as JSON.")
def command(track_file: Path, out: Path, cut_m: float, session: str | None, zone: str | None, as_json: bool) -> None:
    r"""Write TRACK as GPX without the fixes near its first and its last one, so that it can be shared.

    A drive begins and ends at somebody's home. Every fix within the distance of either end is left out, also where
    the drive passes there on its way. Waypoints, names and other data of the file are not written. The original
    is not changed.

    \b
    Examples:
      speedcal trim drive.gpx --out shared.gpx
      speedcal trim drive.fit --out shared.gpx --cut 0.5mi
    """
    from speedcal.logs import read_track
    from speedcal.logs.drive.trim import without_ends
    from speedcal.logs.formats.gpx import render_gpx

    with waiting(working_on("reading", track_file.name)):
        track = read_track(track_file, zone=zone, session=session)
    if not track.has_positions:
        raise TrackFormatError("nothing_to_trim", source=track.source)
    if not track.has_date:
        say([UNDATED])
    rest, kept = without_ends(track, _from_fix(track, 0), _from_fix(track, -1), cut_m)
    if len(rest) < 2:
        raise TrackFormatError("nothing_left_of_drive", source=track.source, cut_m=cut_m)
    with waiting(working_on("writing", out.name)):
        text = render_gpx(rest)
    if out.exists():
        raise TrackFormatError("file_exists", file=str(out))
    write_file(out, text.encode(), TrackFormatError)
    facts = {"written": str(out), "fixes": len(rest), "left_out": int((~kept).sum()), "cut_m": cut_m}
    emit(facts, as_json, trimmed(facts))


def _from_fix(track: Track, index: int) -> FloatArray:
    """Return the straight distance of every fix from one of them. [m]."""
    import numpy as np

    from speedcal.calibration.speed.geodesy import segment_lengths_m

    latitude, longitude = (np.empty(2 * len(track)) for _ in range(2))
    latitude[::2], latitude[1::2] = track.latitude_deg[index], track.latitude_deg
    longitude[::2], longitude[1::2] = track.longitude_deg[index], track.longitude_deg
    return segment_lengths_m(latitude, longitude)[::2]
