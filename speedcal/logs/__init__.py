"""Files to tracks and readings.

Each format is a module of its own with a row in the table of :mod:`speedcal.logs.formats.registry`.
"""

from __future__ import annotations

import filecmp
import hashlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from speedcal.errors import ReadingsFormatError, SpeedcalError, TrackFormatError
from speedcal.logs.checks.checks import Checks
from speedcal.logs.checks.read_checks import read_checks
from speedcal.logs.drive.readings import Clock, Readings
from speedcal.logs.drive.track import Track
from speedcal.logs.formats.registry import LogFormat, Request, all_formats, certain_kind, recognise
from speedcal.logs.formats.table_tracks import is_log_of_drive
from speedcal.logs.source import Source, load
from speedcal.logs.writing.written_times import parse_zone
from speedcal.units import parse_speed_unit

__all__ = [
    "Checks",
    "Clock",
    "LogFormat",
    "Readings",
    "Track",
    "all_formats",
    "read_checks",
    "read_film",
    "read_readings",
    "read_track",
]


def read_track(
    path: str | Path,
    *,
    unit: str | None = None,
    zone: str | None = None,
    session: str | None = None,
    instrument: str | None = None,
) -> Track:
    """Read a recorded drive.

    Parameters
    ----------
    path
        The file; its kind is told by its content. gzip and zip are unpacked.
    unit
        Unit of the receiver's speed where the file names none and has no positions, which would tell it.
    zone
        Zone of stamps that carry none, such as ``+02:00``, or its name in the IANA data base; without it they are
        taken as UTC.
    session
        Which vehicle or session, as the file names it; one that holds a single drive is read whole.
    instrument
        Column of a table that holds what the instrument showed: it is not taken for the speed of the receiver.

    Raises
    ------
    TrackFormatError
        The file cannot be read as a track; the message says what, where and what to do.

    Examples
    --------
    >>> import speedcal
    >>> print(speedcal.read_track("data_demo/before.gpx"))
    before.gpx: GPX 1.1, ... fixes over 14.3 min, with recorded speed
    """
    source = load(path, TrackFormatError, certain_kind)
    return track_of(source, unit=unit, zone=zone, session=session, instrument=instrument)


def in_the_track(track: Path, readings: Path, column: str | None) -> str | None:
    """Return the column of the instrument where one file holds both."""
    try:
        return column if column is not None and filecmp.cmp(track, readings, shallow=False) else None
    except OSError:  # told when it is read
        return None


def read_track_beside(
    path: Path,
    readings: Path | None,
    *,
    unit: str | None = None,
    session: str | None = None,
    column: str | None = None,
) -> Track:
    """Return the track of a drive whose readings are in another file; say so where each was given for the other."""
    instrument = in_the_track(path, readings, column) if readings is not None else None
    try:
        return read_track(path, unit=unit, session=session, instrument=instrument)
    except SpeedcalError:
        if readings is not None and _is_track_alone(readings):
            raise TrackFormatError("files_exchanged", source=path.name, found=readings.name) from None
        raise


def _is_track_alone(path: Path) -> bool:
    try:
        read_track(path)
    except SpeedcalError:
        return False
    try:
        read_readings(path)
    except SpeedcalError:
        return True
    return False


def is_log_of_both(path: Path, *, column: str | None = None, session: str | None = None) -> bool:
    """Tell whether one file is the log of a drive and of what the instrument showed on it; a unit may be wanting."""
    try:
        is_drive = is_log_of_drive(read_track(path, session=session, instrument=column).time_s)
    except SpeedcalError as error:
        is_drive = error.code == "column_without_unit"
    return is_drive and _tells(lambda: read_readings(path, column=column, session=session))


def is_list_of_checks(path: Path, *, session: str | None = None) -> bool:
    """Tell whether a file is a list of checks and no track."""
    return not _tells(lambda: read_track(path, session=session)) and _tells(lambda: read_checks(path, session=session))


def _tells(read: Callable[[], Track | Readings | Checks]) -> bool:
    try:
        read()
    except SpeedcalError as error:
        return error.code in {"column_without_unit", "several_speed_columns"}
    return True


def track_of(
    source: Source,
    *,
    unit: str | None = None,
    zone: str | None = None,
    session: str | None = None,
    instrument: str | None = None,
) -> Track:
    """Return the track of a file in memory, as :func:`read_track` does."""
    log = recognise(source)
    if log.track is None:
        source.fail("no_track_in_format", format=log.id)
    return log.track(source, request_of(unit, instrument, zone, session))


def read_readings(
    path: str | Path,
    *,
    unit: str | None = None,
    column: str | None = None,
    zone: str | None = None,
    session: str | None = None,
) -> Readings:
    """Read what the instrument showed.

    Parameters
    ----------
    path
        The file; its kind is told by its content.
    unit
        Unit of the speeds where the file names none: mph, km/h, m/s or kn.
    column
        Header of the column with the indicated speed, where several may be meant.
    zone
        Zone of stamps that carry none, such as ``+02:00``, or its name in the IANA data base.
    session
        Which vehicle or session, in a file that holds several.

    Raises
    ------
    ReadingsFormatError
        The file cannot be read as readings; where more than a fifth of its lines is bad, they are listed.

    Examples
    --------
    >>> import speedcal
    >>> print(speedcal.read_readings("data_demo/before_notes.csv"))
    before_notes.csv: table (commas), 31 readings in mph
    """
    request = request_of(unit, column, zone, session)
    return readings_of(load(path, ReadingsFormatError, certain_kind), request)


def readings_of(source: Source, request: Request) -> Readings:
    """Return the readings of a file in memory, as :func:`read_readings` does."""
    log = recognise(source)
    if log.readings is None:
        source.fail("no_readings_in_format", format=log.id)
    return log.readings(source, request)


def read_film(path: str | Path, dial: str | Path, *, per_second: float = 2.0) -> Readings:
    """Read what the instrument showed off a film of it.

    Parameters
    ----------
    path
        A video of a phone in a holder, or a folder of pictures with the time in their EXIF data.
    dial
        The dial file: the unit, and where a few marks stand in one frame.
    per_second
        How many frames to read, at the most. [1/s]

    Raises
    ------
    ReadingsFormatError
        Film or dial cannot be read, or no needle is seen in enough frames.

    Examples
    --------
    The dial is looked at first, so that a wrong file is told before the minutes that a film takes.

    >>> import speedcal
    >>> speedcal.read_film("drive.mp4", "data_demo/job.toml")
    Traceback (most recent call last):
        ...
    speedcal.errors.ReadingsFormatError: job.toml: 'after' is not a key of a dial file. ...
    """
    from speedcal.logs.film.reading import film_reading, readings_table

    table = readings_table(film_reading(path, dial, per_s=per_second))
    source = Source(Path(path).name, table, hashlib.sha256(table).hexdigest(), ReadingsFormatError)
    return replace(readings_of(source, Request(None, None, None, None)), read_from="film")


def request_of(unit: str | None, column: str | None, zone: str | None, session: str | None = None) -> Request:
    """Return what the user says about a file; a unit or zone that is not known is refused."""
    known = parse_speed_unit(unit) if unit is not None else None
    if unit is not None and known is None:
        raise ReadingsFormatError("unknown_speed_unit", found=unit)
    return Request(known, column, parse_zone(zone) if zone else None, session)
