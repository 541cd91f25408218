"""One drive of a fleet: where it lies, and measuring it."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib.metadata import version
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any, NamedTuple

from speedcal.errors import FleetError, ReadingsFormatError, SpeedcalError, TrackFormatError
from speedcal.finding import json_ready
from speedcal.fleet.kept import Outcome, kept
from speedcal.units import DisplayUnit

if TYPE_CHECKING:
    from speedcal.logs import Readings, Track
    from speedcal.logs.source import Source

_TRACKS = frozenset({".gpx", ".fit", ".tcx", ".kml", ".kmz", ".nmea", ".nma"})
_TRACK_WORD = re.compile(r"(?:^|[ _-])(?:track|gps)(?:$|[ _.-])")
_FORM = 13
"""Counts changes of the method or of what is kept within a version; drives are measured again after one."""
_FOR_BOTH = "speed_for_both"
"""Among the options of a drive: the column of the instrument is taken for the receiver's speed, too."""


@dataclass(frozen=True, slots=True)
class DriveFiles:
    """Where a drive lies: two files, one that holds both, or the same in memory; paths may be URLs."""

    vehicle: str
    name: str
    """What it is called among the drives of its vehicle."""
    paths: tuple[str, ...]
    data: tuple[bytes, ...] = ()
    """Contents where there is no file, one for each path."""
    options: tuple[tuple[str, Any], ...] = ()
    """What is said about the drive, as the keys of a job file have it: unit, column, zone, held; and the vehicle."""
    roles_known: bool = False
    """Whether the track is certain to be the first."""
    passing: bool = False
    """Whether the files lie on this machine for a moment only: workers elsewhere get their contents."""

    def __post_init__(self) -> None:
        if not self.paths:
            raise ValueError("a drive needs a file")
        for called in ("vehicle", "name"):
            object.__setattr__(self, called, readable(getattr(self, called)))

    def packed(self) -> DriveFiles:
        """Return the drive as it can be sent elsewhere."""
        return replace(self, data=tuple(Path(path).read_bytes() for path in self.paths)) if self.passing else self


def readable(name: str) -> str:
    """Return a name as tables can hold it: bytes of a file name that are no UTF-8 are written out."""
    return name.encode("utf-8", "backslashreplace").decode("utf-8")


@cache
def method() -> str:
    """Return what an outcome depends on besides the files."""
    return f"{version('speedcal')}, {_FORM}"


def key_of(digests: Sequence[str], files: DriveFiles, unit: DisplayUnit | None) -> str:
    """Return the name under which the outcome of a drive is remembered."""
    asked = (method(), unit, files.options, files.roles_known, tuple(digests))
    return hashlib.sha256(repr(asked).encode()).hexdigest()


class Written(NamedTuple):
    """An outcome as it is kept: who has measured it has written it too."""

    key: str
    """Under which it is remembered; empty where the drive cannot be read."""
    digests: Sequence[str]
    text: str


def measure_all(several: Sequence[DriveFiles], unit: DisplayUnit | None) -> list[Written]:
    """Measure some drives; the task that a worker gets."""
    return [_written(measure(files, unit)) for files in several]


def given_up(files: DriveFiles, _: BaseException) -> Written:
    """Return the outcome of a drive with which no worker comes to an end."""
    error = FleetError("drive_kills_workers", source=files.name)
    return _written({"key": "", "digests": [], "error": json_ready(error.to_dict())})


def _written(outcome: Outcome) -> Written:
    return Written(outcome["key"], outcome["digests"], json.dumps(outcome, separators=(",", ":")))


def measure(files: DriveFiles, unit: DisplayUnit | None) -> Outcome:
    """Read a drive and calibrate it; whatever is wrong with it becomes a part of the outcome.

    Parameters
    ----------
    unit
        Unit for people, and of readings whose file names none.
    """
    digests: list[str] = []
    try:
        sources = _open(files)
        digests = [source.digest for source in sources]
        outcome = _measured(files, sources, unit)
    except SpeedcalError as error:
        outcome = {"error": json_ready(error.to_dict())}
    except Exception as fault:  # one drive must not end a fleet
        broke = FleetError("drive_not_measured", source=files.name, fault=type(fault).__name__, reason=str(fault))
        outcome = {"error": json_ready(broke.to_dict())}
    return {"key": key_of(digests, files, unit) if digests else "", "digests": digests, **outcome}


def _open(files: DriveFiles) -> list[Source]:
    from speedcal.logs.formats.registry import certain_kind
    from speedcal.logs.source import Source, load, unpack

    found = []
    for i, path in enumerate(files.paths):
        if files.data or "://" in path:
            data = files.data[i] if files.data else _fetch(path)
            found.append(unpack(Source(PurePosixPath(path).name, data, "", TrackFormatError), certain_kind))
        else:
            found.append(load(Path(path), TrackFormatError, certain_kind))
    return found


def _fetch(url: str) -> bytes:
    """Return a file that the workers reach by its address."""
    from speedcal.fleet.addresses import opened
    from speedcal.logs import limits

    with opened(url) as stream:
        return bytes(stream.read(limits.MAX_BYTES + 1))


def _measured(files: DriveFiles, sources: Sequence[Source], unit: DisplayUnit | None) -> Outcome:
    """Measure a drive; where fixes are too far apart to tell a speed for sure, the odometer alone."""
    options = dict(files.options)
    try:
        found = {**_calibrated(files, sources, options, unit), "odometer_only": False}
    except SpeedcalError:
        alone = _odometer_alone(files, sources, options, unit)
        if alone is None:
            raise
        return alone
    if found["trust"] == "WEAK" and found["is_seldom"]:
        return _odometer_alone(files, sources, options, unit) or found
    return found


def _odometer_alone(
    files: DriveFiles, sources: Sequence[Source], options: Mapping[str, Any], unit: DisplayUnit | None
) -> Outcome | None:
    """Return what the odometer of a box tells, None where it has none.

    A box that logs one speed only seldom has it from the vehicle: where it cannot be held against the positions, it is
    taken for the receiver's, and lays the odometer on the track.
    """
    if "column" not in options or sources[0].digest != sources[-1].digest:
        return None
    try:
        found = _calibrated(files, sources, {**options, _FOR_BOTH: True}, unit)
    except SpeedcalError:
        return None
    reasons = [reason for reason in found["reasons"] if reason["code"] not in _AS_THE_RECEIVER]
    trust = found["trust"] if reasons else "TRUSTED"
    return {**found, "reasons": reasons, "trust": trust, "odometer_only": True} if found["odometer"] else None


def _calibrated(
    files: DriveFiles, sources: Sequence[Source], options: Mapping[str, Any], unit: DisplayUnit | None
) -> Outcome:
    from speedcal.calibration import calibrate
    from speedcal.calibration.readings.odometer import counted_in
    from speedcal.jobs.measured_drive import borne_out, ranges_of, with_unit_seen

    track, readings = _read(files, sources, options, unit)
    vehicle = options.get("vehicle")
    asked = {key: options[key] for key in ("clock_offset_s", "read_from", "rounding", "terrain") if key in options}
    asked["range_gains"] = ranges_of(vehicle)
    by_box = len(files.paths) == 1 and "held" not in options
    readings = with_unit_seen(readings, options.get("dial_unit"), options.get("read_from"))
    calibration = calibrate(track, readings, unit=unit, **asked)
    meant = next((f.values["length_unit"] for f in calibration.findings if f.code == "odometer_unit_by_speed"), "")
    readings = counted_in(readings, meant) if meant else readings
    return {**kept(track, readings, borne_out(calibration, vehicle), by_box), "odometer_unit": meant}


def _read(
    files: DriveFiles, sources: Sequence[Source], options: Mapping[str, Any], unit: DisplayUnit | None
) -> tuple[Track, Readings]:
    """Return track and readings, whichever file holds which."""
    if "held" in options:
        from speedcal.jobs.measured_drive import held_readings
        from speedcal.logs import track_of

        drive = track_of(sources[0], unit=options.get("unit"), session=options.get("session"))
        return drive, held_readings(tuple(options["held"]), options.get("unit") or unit or "mph")
    pairs = [(sources[0], sources[-1])]
    if len(sources) == 2 and not files.roles_known:
        first = 0 if _looks_like_track(files.paths[0]) or not _looks_like_track(files.paths[1]) else 1
        pairs = [(sources[first], sources[1 - first]), (sources[1 - first], sources[first])]
    refused: list[SpeedcalError] = []
    for track, readings in pairs:
        try:
            return _read_pair(track, readings, options, unit)
        except SpeedcalError as error:
            refused.append(error)
    raise refused[0]


def _looks_like_track(path: str) -> bool:
    name = PurePosixPath(path).name.lower()
    return any(suffix in _TRACKS for suffix in PurePosixPath(name).suffixes) or bool(_TRACK_WORD.search(name))


def _read_pair(
    track: Source, readings: Source, options: Mapping[str, Any], unit: DisplayUnit | None
) -> tuple[Track, Readings]:
    from speedcal.logs import readings_of, request_of, track_of

    instrument = options.get("column") if track.digest == readings.digest and _FOR_BOTH not in options else None
    own = replace(readings, error=ReadingsFormatError)
    told = [options.get(name) for name in ("column", "zone", "session")]
    found = _in_unit(
        lambda known: track_of(track, unit=known, session=options.get("session"), instrument=instrument), options, unit
    )
    return found, _in_unit(lambda known: readings_of(own, request_of(known, *told)), options, unit)


def _in_unit(read: Callable[[str | None], Any], options: Mapping[str, Any], unit: DisplayUnit | None) -> Any:
    """Return what is read in the unit of its drive, or of the answer where neither drive nor file names one."""
    try:
        return read(options.get("unit"))
    except SpeedcalError as error:
        if error.code != "column_without_unit" or unit is None:
            raise
        return read(unit)


_AS_THE_RECEIVER = {"gps_among_readings", "may_be_truth"}
"""What a speed that is held against itself is found to be; nothing is asked of it but where the odometer lies."""
