"""Where the drives of a fleet lie: folders of vehicles, of jobs, or single files, as a list of drives by vehicle."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePath, PurePosixPath
from typing import TYPE_CHECKING

from speedcal.errors import FleetError, SpeedcalError
from speedcal.fleet.addresses import places_at
from speedcal.fleet.archives import Inside
from speedcal.fleet.drive import DriveFiles, readable
from speedcal.jobs.contents import Drive, JobContents

if TYPE_CHECKING:
    from speedcal.vehicle import Vehicle

JOB = "job.toml"
_OF_A_PAGE = ("jobs.sqlite", "secret.key")
_ROLE = re.compile(r"(?:^|[ _.-])(?:track|gps|notes?|readings?|log|obd|dial|speedo(?:meter)?)$", re.IGNORECASE)
"""What a name may end in to tell two files of one drive apart."""
_IGNORED = frozenset(
    (
        ".toml", ".html", ".pdf", ".png", ".jpg", ".jpeg", ".heic", ".gif", ".svg", ".sqlite", ".parquet", ".md",
        ".doc", ".docx", ".mp4", ".mov", ".ini", ".db", ".lnk",
    )
)  # fmt: skip
_COMPRESSED = frozenset({".gz", ".zip"})
_RESULTS = frozenset({"fleet.csv", "fleet.html", "fleet.json", "fleet.parquet", "drives.sqlite"})
_SIGNS_OF_RESULTS = frozenset({"fleet.html", "drives.sqlite"})


@dataclass(frozen=True, slots=True)
class Found:
    """One vehicle: its drives, or why there are none."""

    vehicle: str
    drives: tuple[DriveFiles, ...] = ()
    refused: tuple[tuple[str, SpeedcalError], ...] = ()
    """Name and error of every drive that cannot even be looked for."""
    job: JobContents | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "vehicle", readable(self.vehicle))


Source = str | Path | Found


def find_vehicles(
    folder: Path, *, skip: Path | None = None, passing: bool = False, aside: Path | None = None
) -> Iterator[Found]:
    """Yield the vehicles of a folder in the order of their names.

    A subfolder is a vehicle and its name the vehicle's; with a job file in it, its drives are those of the job. Files
    that lie in the folder itself are drives of one vehicle, which is called as the folder. A zip of several logs is a
    folder of its name.

    Parameters
    ----------
    skip
        Folder of the results, which may lie in it, or be it.
    passing
        Whether the files lie there for a moment only.
    aside
        Folder in which a zip is unpacked; None leaves it as it is.
    """
    inside = Inside(aside, lambda path: is_log(path) or path.name == JOB)
    for found in _vehicles_in(folder, skip, inside):
        drives = (replace(d, passing=passing or inside.has_unpacked(d.paths[0])) for d in found.drives)
        yield replace(found, drives=tuple(drives))


def _vehicles_in(folder: Path, skip: Path | None, inside: Inside) -> Iterator[Found]:
    if (folder / JOB).is_file():
        yield _of_job(folder)
        return
    if is_page(folder):
        raise FleetError("data_of_the_page", source=str(folder))
    loose = []
    for path in _listed(folder):
        if not path.is_file() or not is_log(path):
            continue
        if unpacked := inside.folder(path):
            yield from _vehicles_in(unpacked, None, inside)
        else:
            loose.append(path)
    if loose:
        yield _of_files(_name(folder), folder, {path: str(path) for path in loose})
    for inner in filter(Path.is_dir, _listed(folder)):
        if (inner / JOB).is_file():
            yield _of_job(inner)
        elif (logs := dict(_logs_below(inner, inside))) or not _is_for_results(inner, skip):
            yield _of_files(inner.name, inner, logs)


def _listed(folder: Path) -> list[Path]:
    try:
        paths = sorted(path for path in folder.iterdir() if not path.name.startswith((".", "__")))
        return [folder / name for name in without_results([path.name for path in paths])]
    except OSError as problem:
        raise FleetError("file_not_opened", source=str(folder), reason=problem.strerror or str(problem)) from None


def is_page(folder: Path) -> bool:
    """Tell whether a folder is the data folder of an upload page, wherever that keeps its jobs."""
    return any((folder / name).is_file() for name in _OF_A_PAGE)


def without_results(names: Sequence[str]) -> Sequence[str]:
    """Return the names in a folder but those of the results of a fleet, which are no drives."""
    return [name for name in names if name not in _RESULTS] if _SIGNS_OF_RESULTS.intersection(names) else names


def refuse_originals(folder: Path) -> None:
    """Refuse a folder in which results would be written over files of their names that no fleet has written."""
    names = [path.name for path in folder.iterdir()] if folder.is_dir() else []
    for name in sorted(_RESULTS.intersection(without_results(names))):
        raise FleetError("result_in_the_way", source=str(folder), name=name)


def _is_for_results(folder: Path, results: Path | None) -> bool:
    is_named = results is not None and folder.resolve() == results.resolve()
    return is_named or any((folder / name).is_file() for name in _SIGNS_OF_RESULTS)


def _name(folder: Path) -> str:
    return folder.name or folder.resolve().name


def is_log(path: PurePath) -> bool:
    """Tell by its name whether a file may be a log."""
    return path.suffix.lower() not in _IGNORED and not path.name.startswith((".", "~"))


def _logs_below(folder: Path, inside: Inside) -> Iterator[tuple[PurePath, str]]:
    """Yield the logs of a folder: what each is called, and its path."""
    for path in _listed(folder):
        below = path if path.is_dir() else inside.folder(path)
        if below is not None:
            yield from ((path / name.relative_to(below), place) for name, place in _logs_below(below, inside))
        elif is_log(path):
            yield path, str(path)


def vehicles_at(url: str) -> Iterator[Found]:
    """Yield the vehicles of a folder at an address such as ``s3://bucket/drives``, as :func:`find_vehicles` does.

    One with a job file is refused: what it says would not be heeded.
    """
    folder, addresses = places_at(url)
    if folder in addresses:
        raise FleetError("no_vehicle_column", source=url)
    by_vehicle: dict[str, list[PurePath]] = {}
    for place in addresses:
        parts = place.relative_to(folder).parts
        if is_log(place) or place.name == JOB:
            by_vehicle.setdefault(parts[0] if len(parts) > 1 else folder.name, []).append(place)
    for vehicle, several in sorted(by_vehicle.items()):
        if any(place.name == JOB for place in several):
            yield Found(vehicle, refused=((JOB, FleetError("job_at_address", source=url)),))
            continue
        inside = folder / vehicle if several[0].parent != folder else folder
        yield _of_files(vehicle, inside, {place: addresses[PurePosixPath(place)] for place in several})


def _of_files(vehicle: str, folder: PurePath, paths: Mapping[PurePath, str]) -> Found:
    """Pair the files of a vehicle by what each is called; a file alone holds track and readings."""
    groups: dict[tuple[PurePath, str], list[PurePath]] = {}
    for path in paths:
        groups.setdefault((path.parent, stem_of_drive(path)), []).append(path)
    drives, refused = [], []
    for (parent, stem), files in groups.items():
        name = (parent.relative_to(folder) / (stem or "drive")).as_posix()
        if len(files) > 2:
            names = [path.name for path in files]
            refused.append((name, FleetError("several_files_for_drive", source=str(parent), names=names)))
        else:
            drives.append(DriveFiles(vehicle, name, tuple(paths[path] for path in files)))
    return Found(vehicle, tuple(drives), tuple(refused))


def stem_of_drive(path: PurePath) -> str:
    """Return the name that the files of one drive share, without what tells which of them it is."""
    name = path.stem if path.suffix.lower() not in _COMPRESSED else PurePath(path.stem).stem
    return _ROLE.sub("", name)


def _of_job(folder: Path) -> Found:
    from speedcal.jobs import load_job
    from speedcal.jobs.measured_drive import as_driven
    from speedcal.jobs.pipeline import PHASES, vehicle_on

    vehicle = _name(folder)
    try:
        job = load_job(folder)
    except SpeedcalError as error:
        return Found(vehicle, refused=((JOB, error),))
    drives, refused = [], []
    for phase in PHASES:
        several = getattr(job, phase)
        for number, drive in enumerate(map(as_driven, several), start=1):
            name = phase if len(several) == 1 else f"{phase} {number}"
            if drive.track is None:
                refused.append((name, FleetError("checks_in_a_fleet", source=str(folder))))
            else:
                drives.append(_of_job_drive(vehicle, name, drive, vehicle_on(job, phase)))
    return Found(vehicle, tuple(drives), tuple(refused), job)


def _of_job_drive(vehicle: str, name: str, drive: Drive, facts: Vehicle | None) -> DriveFiles:
    stated = ("unit", "column", "session", "zone", "clock_offset_s", "read_from", "rounding", "terrain", "dial_unit")
    said = {key: getattr(drive, key) for key in stated}
    if drive.held:
        said["held"] = drive.held
    said["vehicle"] = facts
    options = tuple((key, value) for key, value in said.items() if value is not None)
    paths = tuple(str(path) for path in (drive.track, drive.readings) if path is not None)
    return DriveFiles(vehicle, name, paths, options=options, roles_known=True)


def with_column(found: Found, column: str | None) -> Found:
    """Return a vehicle whose drives know which column is the instrument's: as their job says, or as asked."""
    if column is None:
        return found
    asked = {"column": column}
    drives = tuple(replace(d, options=tuple({**asked, **dict(d.options)}.items())) for d in found.drives)
    return replace(found, drives=drives)


def merged(found: Iterable[Found]) -> list[Found]:
    """Return the vehicles, those of one name in several sources taken together, in the order of their names."""
    by_name: dict[str, Found] = {}
    for one in found:
        other = by_name.get(one.vehicle)
        if other is not None:
            one = Found(one.vehicle, other.drives + one.drives, other.refused + one.refused, other.job or one.job)
        by_name[one.vehicle] = one
    return [by_name[name] for name in sorted(by_name)]


def parted(source: Source | Sequence[Source]) -> tuple[list[str], list[Found]]:
    """Return the sources to be looked into, each a folder, a file or a URL, and the vehicles given as such."""
    several = [source] if isinstance(source, (str, Path, Found)) else source
    found = [item for item in several if isinstance(item, Found)]
    return [str(item) for item in several if not isinstance(item, Found)], found
