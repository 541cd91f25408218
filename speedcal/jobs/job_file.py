"""Reading a job file: TOML, checked key by key, every problem listed in one message."""

from __future__ import annotations

import difflib
import hashlib
import math
import re
import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from speedcal.errors import JobError, SpeedcalError, raise_problems
from speedcal.jobs.job import Drive, Job
from speedcal.tables import nearest_name
from speedcal.units import DisplayUnit, display_unit_of, parse_speed_unit

if TYPE_CHECKING:
    from speedcal.conformity import Tolerance
    from speedcal.vehicle import Vehicle, Work

_MOST_BYTES = 1_000_000
_REMEDY = "Correct the job file; the README lists every table and key"


class _WrongValueError(Exception):
    """A value that cannot be used; the message completes the sentence that names the key."""


def _text(value: Any) -> str:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise _WrongValueError(f"is {value!r}, a text in quotes was expected")
    return str(value).strip()


def _number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise _WrongValueError(f"is {value!r}, a number was expected")
    return float(value)


def _positive(value: Any) -> float:
    number = _number(value)
    if number <= 0:
        raise _WrongValueError(f"is {value!r}, a number above zero was expected")
    return number


def _unit(value: Any) -> str:
    unit = parse_speed_unit(value) if isinstance(value, str) else None
    if unit is None:
        raise _WrongValueError(f'is {value!r}, "mph", "km/h", "m/s" or "kn" was expected')
    return unit


def _display_unit(value: Any) -> str:
    unit = parse_speed_unit(value) if isinstance(value, str) else None
    if unit not in ("mph", "km/h"):
        raise _WrongValueError(f'is {value!r}, "mph" or "km/h" was expected')
    return unit


def _speeds(value: Any) -> tuple[float, ...]:
    if not isinstance(value, list) or not value:
        raise _WrongValueError(f"is {value!r}, a list of speeds such as [30, 40, 50] was expected")
    return tuple(_positive(v) for v in value)


_Check = Callable[[Any], Any]
_DRIVE_KEYS: dict[str, _Check] = {
    "track": _text,
    "readings": _text,
    "held": _speeds,
    "unit": _unit,
    "column": _text,
    "zone": _text,
    "clock_offset_s": _number,
}
_KEYS: dict[str, dict[str, _Check]] = {
    "job": {"number": _text, "shop": _text, "customer": _text, "unit": _display_unit, "note": _text},
    "before": _DRIVE_KEYS,
    "after": _DRIVE_KEYS,
}
_OWNED_ELSEWHERE = ("vehicle", "work", "tolerance")
"""Tables whose keys are checked by the rooms that own them."""


class _JobReader:
    """Collects the problems of one job file while turning it into a job."""

    def __init__(self, path: Path, text: str, document: Mapping[str, Any]) -> None:
        self.path = path
        self.lines = text.splitlines()
        self.document = document
        self.problems: list[tuple[int | None, str]] = []

    def line_of(self, table: str, index: int = 0, key: str = "") -> int | None:
        """Return the line a table (or a key in it) stands in, as a person would look for it."""
        heading = re.compile(rf"\s*\[+\s*{re.escape(table)}\s*\]+\s*(#.*)?$")
        starts = [i for i, line in enumerate(self.lines) if heading.match(line)]
        if index >= len(starts):
            return None
        if not key:
            return starts[index] + 1
        for i in range(starts[index] + 1, len(self.lines)):
            if self.lines[i].lstrip().startswith("["):
                break
            if re.match(rf"\s*[\"']?{re.escape(key)}[\"']?\s*[=.]", self.lines[i]):
                return i + 1
        return starts[index] + 1

    def note(self, problem: str, table: str, index: int = 0, key: str = "") -> None:
        """Remember a problem and where it is."""
        self.problems.append((self.line_of(table, index, key), problem))

    def check_tables(self) -> None:
        """Note every table the job file should not have."""
        known = (*_KEYS, *_OWNED_ELSEWHERE)
        for name in self.document:
            if name not in known:
                self.problems.append(
                    (
                        self._line_of_unknown(name),
                        f"there is no table {name!r} in a job file: {nearest_name(name, known)}",
                    )
                )

    def _line_of_unknown(self, name: str) -> int | None:
        at_top = (i + 1 for i, line in enumerate(self.lines) if re.match(rf"\s*{re.escape(name)}\s*=", line))
        return self.line_of(name) or next(at_top, None)

    def table(self, name: str, index: int = 0, raw: Any = None) -> dict[str, Any]:
        """Return the checked values of one table; unknown keys and wrong values are noted."""
        raw = self.document.get(name, {}) if raw is None else raw
        if not isinstance(raw, Mapping):
            self.note(f"{name} must be a table: write [{name}] on a line of its own", name, index)
            return {}
        values = {}
        for key, value in raw.items():
            check = _KEYS[name].get(key)
            if check is None:
                self.note(f"[{name}] has no {key!r}: {nearest_name(key, _KEYS[name])}", name, index, key)
                continue
            try:
                values[key] = check(value)
            except _WrongValueError as bad:
                self.note(f"{key} in [{name}] {bad}", name, index, key)
        return values

    def drives(self, name: str) -> tuple[Drive, ...]:
        """Return the drives of ``[before]`` or ``[after]``, one table or several."""
        raw = self.document.get(name, [])
        tables = raw if isinstance(raw, list) else [raw]
        drives = [self._drive(name, index, table) for index, table in enumerate(tables)]
        return tuple(drive for drive in drives if drive is not None)

    def _drive(self, name: str, index: int, raw: Any) -> Drive | None:
        values = self.table(name, index, raw)
        if not isinstance(raw, Mapping):
            return None
        if "track" not in raw:
            self.note(f'[{name}] names no track; add a line such as track = "drive.gpx"', name, index)
        if "readings" not in raw and "held" not in raw:
            self.note(
                f'[{name}] names no readings; add readings = "readings.csv" (the same file as the track when it holds '
                "both) or the speeds held in order, held = [30, 40, 50]",
                name,
                index,
            )
        if "readings" in raw and "held" in raw:
            self.note(f"[{name}] has both readings and held; keep one", name, index, "held")
        if "held" in values and "unit" not in values and not self.document_unit():
            self.note(f'held in [{name}] has no unit; add unit = "mph" or unit = "km/h"', name, index, "held")
        paths: dict[str, Any] = {
            key: self._file(values[key], name, index, key) for key in ("track", "readings") if key in values
        }
        rest = {key: value for key, value in values.items() if key not in paths}
        return Drive(**paths, **rest) if paths.get("track") else None

    def document_unit(self) -> DisplayUnit | None:
        """Return the unit of the ``[job]`` table where it can be read."""
        job = self.document.get("job", {})
        unit = job.get("unit") if isinstance(job, Mapping) else None
        known = parse_speed_unit(unit) if isinstance(unit, str) else None
        return display_unit_of(known) if known in ("mph", "km/h") else None

    def _file(self, name: str, table: str, index: int, key: str) -> Path | None:
        path = self.path.parent / name
        try:
            if name and path.is_file():
                return path
        except (OSError, ValueError):
            pass
        self.note(f"{key} in [{table}] is {name!r}, and there is no such file{self._near(path)}", table, index, key)
        return None

    def _near(self, path: Path) -> str:
        try:
            names = sorted(p.name for p in path.parent.iterdir() if p.is_file())
        except (OSError, ValueError):
            return " (its folder is missing too)"
        close = difflib.get_close_matches(path.name, names, n=1)
        return f" (did you mean {close[0]!r}?)" if close else ""

    def owned(self, name: str) -> Any:
        """Return the vehicle, the work or the tolerance, read by the room that owns it; None without its table."""
        table = self.document.get(name)
        if table is None:
            return None
        if not isinstance(table, Mapping):
            self.note(f"{name} must be a table: write [{name}] on a line of its own", name)
            return None
        try:
            return self._read_owned(name, table)
        except SpeedcalError as error:
            remedy = f"; {error.remedy}" if error.remedy and not error.problems else ""
            for _, text in error.problems or ((None, error.problem + remedy),):
                key = next((key for key in table if re.search(rf"(?<!\w){re.escape(key)}(?!\w)", text)), "")
                self.note(text if text.startswith(f"[{name}") else f"[{name}] {text}", name, key=key)
            return None

    def _read_owned(self, name: str, table: Mapping[str, Any]) -> Vehicle | Work | Tolerance:
        source = self.path.name
        if name == "tolerance":
            from speedcal.conformity import load_tolerance

            return load_tolerance(table, source=source, unit=self.document_unit())
        from speedcal.vehicle import Vehicle, Work

        if name == "work":
            return Work.from_dict(table, source=source)
        return Vehicle.from_dict(table, source=source, folder=self.path.parent)


def _read_document(path: Path) -> tuple[bytes, str, dict[str, Any]]:
    try:
        if path.is_dir():
            path = path / "job.toml"
        if path.stat().st_size > _MOST_BYTES:
            raise JobError(
                "the file is larger than a job file can be", source=path.name, remedy="Give the job.toml file"
            )
        data = path.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise JobError(
            f"the job file cannot be opened ({reason})", source=str(path), remedy="Check the name and the folder"
        ) from None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise JobError(
            "the file is not UTF-8 text",
            source=path.name,
            line=line,
            remedy="Save it as UTF-8, or give the job.toml file",
        ) from None
    try:
        return data, text, tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"line (\d+)", str(error))
        what = re.sub(r" *[(]at .*[)]$", "", str(error)).rstrip(".")
        raise JobError(
            f"this is not valid TOML, the language of job files: {what}",
            source=path.name,
            line=int(found[1]) if found else None,
            remedy='Texts stand in quotes (shop = "Name"), and file names use / or single quotes instead of \\',
        ) from None


def load_job(path: str | Path) -> Job:
    r"""Read a job file and check all of it.

    Parameters
    ----------
    path
        The TOML file, or the folder with a ``job.toml`` in it. File names in it are relative to it.

    Raises
    ------
    JobError
        The file cannot be opened or is not TOML; a table or key is unknown, a value cannot be used, a file is
        missing, or there is neither a drive nor a vehicle to plan one for. Every problem of the file is listed in
        one error.

    Examples
    --------
    >>> import speedcal
    >>> print(speedcal.load_job("data_demo"))
    job J-0417: drives 1 before, 1 after
    """
    path = Path(path)
    data, text, document = _read_document(path)
    path = path / "job.toml" if path.is_dir() else path
    reader = _JobReader(path, text, document)
    reader.check_tables()
    head = reader.table("job")
    before, after = reader.drives("before"), reader.drives("after")
    if not {"before", "after", "vehicle"} & set(document):
        reader.problems.append((None, "the job has no drive: add a [before] or an [after] table"))
    vehicle, work, tolerance = (reader.owned(name) for name in _OWNED_ELSEWHERE)
    if reader.problems:
        problems = sorted(reader.problems, key=lambda item: (item[0] is None, item[0] or 0))
        raise_problems(problems, source=path.name, remedy=_REMEDY, kind=JobError)
    return Job(
        source=path,
        digest=hashlib.sha256(data).hexdigest(),
        before=before,
        after=after,
        vehicle=vehicle,
        work=work,
        tolerance=tolerance,
        **head,
    )
