"""A job of the store as the folder that ``speedcal report`` runs, as a zip, and back."""

from __future__ import annotations

import re
import shutil
import tomllib
import zipfile
import zlib
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, time
from pathlib import Path, PurePosixPath
from typing import Any

from speedcal.errors import JobError, raise_problems
from speedcal.jobs.job_file import job_text
from speedcal.schema import TableReader
from speedcal.statements import not_known, stated
from speedcal.web.kept.originals import Originals
from speedcal.web.kept.rows import DriveRow, JobRow
from speedcal.web.settings import Limits

PHASES = ("before", "after")
_SUFFIX = re.compile(r"\.[a-z0-9]{1,6}")
_EPOCH = (1980, 1, 1, 0, 0, 0)
Files = Iterator[tuple[str, bytes | Path]]
"""Names and contents of the files of a folder."""


def job_files(job: JobRow, drives: Sequence[DriveRow], originals: Originals) -> Files:
    """Yield the name and the content of every file of the job folder, ``job.toml`` first.

    Names are made here from the place of a drive in the job; only the ending of what the user sent is kept, where
    it is a plain one.
    """
    document: dict[str, Any] = {name: table for name, table in job.document.items() if table}
    files: list[tuple[str, bytes | Path]] = []
    for phase in PHASES:
        tables = []
        for number, drive in enumerate((d for d in drives if d.phase == phase), start=1):
            table, used = _drive_table(drive, f"{phase}-{number}", originals)
            tables.append(table)
            files += used
        if tables:
            document[phase] = tables[0] if len(tables) == 1 else tables
    yield "job.toml", job_text(document).encode()
    yield from files


def _drive_table(
    drive: DriveRow, stem: str, originals: Originals
) -> tuple[dict[str, Any], list[tuple[str, bytes | Path]]]:
    table: dict[str, Any] = {}
    files: list[tuple[str, bytes | Path]] = []
    if drive.track_digest:
        table["track"] = f"{stem}-track{_suffix(drive.track_name)}"
        files.append((table["track"], originals.path(drive.job_id, drive.track_digest)))
    readings = "checks" if drive.is_checks else "readings"
    if drive.held:
        table["held"] = [float(word) for word in drive.held.split()]
    elif drive.typed:
        table[readings] = f"{stem}-readings.csv"
        files.append((table[readings], drive.typed.encode()))
    elif drive.readings_digest and drive.readings_digest == drive.track_digest:
        table["readings"] = table["track"]
    elif drive.readings_digest:
        table[readings] = f"{stem}-readings{_suffix(drive.readings_name)}"
        files.append((table[readings], originals.path(drive.job_id, drive.readings_digest)))
    table.update({name: value for name, value in drive.options.items() if name != "checks"})
    return table, files


def _suffix(name: str) -> str:
    suffix = PurePosixPath(name.replace("\\", "/")).suffix.lower()
    return suffix if _SUFFIX.fullmatch(suffix) else ""


def lay_out(folder: Path, files: Files) -> Path:
    """Write the files of a job into an empty folder and return it; originals are copied, never linked."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in files:
        if isinstance(content, bytes):
            (folder / name).write_bytes(content)
        else:
            shutil.copyfile(content, folder / name)
    return folder


def write_zip(folders: Iterator[tuple[str, Files]], target: Path) -> None:
    """Pack files, by the beginning of their names, into a zip; the same files give the same bytes."""
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as out:
        for begin, (name, content) in ((begin, file) for begin, files in folders for file in files):
            entry = zipfile.ZipInfo(f"{begin}{name}", _EPOCH)
            entry.compress_type = zipfile.ZIP_DEFLATED
            with out.open(entry, "w") as packed:
                if isinstance(content, bytes):
                    packed.write(content)
                else:
                    with content.open("rb") as source:
                        shutil.copyfileobj(source, packed, 2**20)


def unpack(source: Path, folder: Path, limits: Limits) -> dict[str, Any]:
    """Unpack a zipped job folder and return its job file as tables; drives refer to files in ``folder``.

    Runs in a worker process: the zip comes from a stranger.

    Raises
    ------
    JobError
        Not a zip, no job file or more than one, too much in it, or a name that leads out of the folder.
    """
    try:
        with zipfile.ZipFile(source) as packed:
            entries = [entry for entry in packed.infolist() if not entry.is_dir()]
            _check_entries(entries, limits)
            names = [PurePosixPath(entry.filename) for entry in entries]
            homes = [name.parent for name in names if name.name == "job.toml"]
            if len(homes) != 1:
                raise JobError("zip_without_one_job", source="zip", count=len(homes))
            (home,) = homes
            inside = [(e, n.relative_to(home)) for e, n in zip(entries, names, strict=True) if home in n.parents]
            for number, (entry, _) in enumerate(inside):
                _extract(packed, entry, folder / f"file-{number}")
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, ValueError) as error:
        raise JobError("zip_unreadable", source="zip") from error
    places = {str(name): f"file-{number}" for number, (_, name) in enumerate(inside)}
    return _document(folder, places)


def _check_entries(entries: Sequence[zipfile.ZipInfo], limits: Limits) -> None:
    if len(entries) > limits.zip_entries:
        raise JobError("zip_too_many_files", source="zip", most=limits.zip_entries)
    if sum(entry.file_size for entry in entries) > limits.zip_unpacked_bytes:
        raise JobError("zip_unpacks_too_large", source="zip", most_mb=limits.zip_unpacked_bytes // 2**20)
    if any(entry.file_size > limits.written_bytes for entry in entries):
        raise JobError("zip_file_too_large", source="zip")
    for entry in entries:
        path = PurePosixPath(entry.filename)
        if path.is_absolute() or ".." in path.parts or "\\" in entry.filename:
            raise JobError("zip_leads_out", source="zip")


def _extract(packed: zipfile.ZipFile, entry: zipfile.ZipInfo, target: Path) -> None:
    """Write one entry; it never grows beyond the size that was checked."""
    left = entry.file_size
    with packed.open(entry) as source, target.open("wb") as out:
        while chunk := source.read(min(2**20, left + 1)):
            left -= len(chunk)
            if left < 0:
                raise zipfile.BadZipFile("an entry is larger than it says")
            out.write(chunk)


def _document(folder: Path, places: Mapping[str, str]) -> dict[str, Any]:
    try:
        document: dict[str, Any] = _plain(tomllib.loads((folder / places["job.toml"]).read_text("utf-8-sig")))
    except (ValueError, RecursionError) as error:
        raise JobError("job_file_not_toml", source="job.toml", what=str(error).rstrip(".")) from None
    known = stated("document").keys
    for name in document:
        if name not in known:
            raise JobError("unknown_table", source="job.toml", **not_known(name, known))
    _check_shape(document)
    _take_family_in(document, folder, places)
    for phase in PHASES:
        tables = document.get(phase, [])
        document[phase] = tables if isinstance(tables, list) else [tables]
        for table in document[phase]:
            for key in ("track", "readings", "checks"):
                if isinstance(table, dict) and key in table:
                    table[key] = {"label": table[key], "file": _place(table[key], places)}
    return document


def _check_shape(document: Mapping[str, Any]) -> None:
    """Refuse a job file whose tables are none, or whose held speeds are no list of numbers: no form could show it."""
    for name, table in document.items():
        tables = table if name in PHASES and isinstance(table, list) else [table]
        if not all(isinstance(one, Mapping) for one in tables):
            raise JobError("table_expected", source="job.toml", found=name)
        if name in PHASES:
            problems = [p for one in tables for p in TableReader(one, "drive", where=name).problems]
            if problems:
                raise_problems(problems, source="job.toml", kind=JobError)


def _plain(value: Any) -> Any:
    """Return what the store keeps as JSON: dates as the texts that a job file may have in their place."""
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_plain(item) for item in value]
    return value.isoformat() if isinstance(value, (date, time)) else value


def _take_family_in(document: dict[str, Any], folder: Path, places: Mapping[str, str]) -> None:
    """Put a gear family that lies beside the job file into the job itself."""
    vehicle = document.get("vehicle", {})
    name = vehicle.get("gear_family") if isinstance(vehicle, dict) else None
    if isinstance(name, str) and name.endswith(".toml"):
        try:
            vehicle["gear_family"] = tomllib.loads((folder / _place(name, places)).read_text("utf-8-sig"))
        except (ValueError, RecursionError):
            raise JobError("gear_family_unreadable", source="job.toml", file=name, why="TOML") from None


def _place(name: Any, places: Mapping[str, str]) -> str:
    found = places.get(str(PurePosixPath(str(name).replace("\\", "/"))))  # Windows parts folders by either
    if found is None:
        raise JobError("zip_lacks_file", source="job.toml", file=str(name))
    return found
