"""Reading a job file: TOML, checked key by key, every problem listed in one message; and writing one."""

from __future__ import annotations

import difflib
import errno
import hashlib
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from speedcal.errors import JobError, Problem, SpeedcalError, raise_problems
from speedcal.jobs.contents import Drive
from speedcal.jobs.job import Job
from speedcal.schema import TableReader
from speedcal.statements import not_known, stated, tables_with
from speedcal.units import DisplayUnit
from speedcal.whole_file import read_small

if TYPE_CHECKING:
    from speedcal.conformity import Tolerance
    from speedcal.vehicle import Vehicle, Work

_FILES = ("track", "readings", "checks")
_READINGS = ("readings", "held", "checks")


class _JobReader:
    """Collects the problems of one job file while turning it into a job."""

    def __init__(self, path: Path, text: str, document: Mapping[str, Any]) -> None:
        self.path = path
        self.lines = text.splitlines()
        self.document = document
        self.problems: list[Problem] = []
        self.unit: DisplayUnit | None = None
        """Unit of the ``[job]`` table where it can be read."""

    def line_of(self, table: str, index: int = 0, key: str = "") -> int | None:
        """Return the line a table (or a key in it) stands in, as a person would look for it."""
        heading = re.compile(rf"\s*\[+\s*{re.escape(table)}\s*\]+\s*(#.*)?$")
        starts = [i for i, line in enumerate(self.lines) if heading.match(line)]
        if index >= len(starts):
            parent, _, rest = table.rpartition(".")
            return self.line_of(parent, index, rest) if parent else None
        if not key:
            return starts[index] + 1
        for i in range(starts[index] + 1, len(self.lines)):
            if self.lines[i].lstrip().startswith("["):
                break
            if re.match(rf"\s*[\"']?{re.escape(key)}[\"']?\s*[=.]", self.lines[i]):
                return i + 1
        return starts[index] + 1

    def note(self, problem: Problem, index: int = 0) -> None:
        """Remember a problem, with the line in which its table and key stand."""
        values = problem.values
        key = str(values.get("key") or (values["found"] if problem.code == "unknown_key" else ""))
        line = self.line_of(str(values["table"]), index, key) if "table" in values else problem.line
        self.problems.append(Problem(problem.code, line=line, **values))

    def check_tables(self) -> None:
        """Note every table the job file should not have."""
        known = stated("document").keys
        for name in self.document:
            if name not in known:
                line = self._line_of_unknown(name)
                self.problems.append(
                    Problem("unknown_table", line=line, belongs=tables_with(name), **not_known(name, known))
                )

    def _line_of_unknown(self, name: str) -> int | None:
        at_top = (i + 1 for i, line in enumerate(self.lines) if re.match(rf"\s*{re.escape(name)}\s*=", line))
        return self.line_of(name) or next(at_top, None)

    def table(self, name: str) -> Mapping[str, Any] | None:
        """Return a table of the document, or None where it is missing; what is no table is noted."""
        raw = self.document.get(name)
        if raw is not None and not isinstance(raw, Mapping):
            self.problems.append(Problem("table_expected", line=self._line_of_unknown(name), found=name))
            return None
        return raw

    def head(self) -> dict[str, Any]:
        """Return the checked values of ``[job]``."""
        reader = TableReader(self.table("job") or {}, "job")
        for problem in reader.problems:
            self.note(problem)
        self.unit = reader.get("unit")
        return reader.values

    def drives(self, name: str) -> tuple[Drive, ...]:
        """Return the drives of ``[before]`` or ``[after]``, one table or several."""
        raw = self.document.get(name, [])
        tables = raw if isinstance(raw, list) else [raw]
        drives = [self._drive(name, index, table) for index, table in enumerate(tables)]
        return tuple(drive for drive in drives if drive is not None)

    def _drive(self, name: str, index: int, raw: Any) -> Drive | None:
        if not isinstance(raw, Mapping):
            self.problems.append(Problem("table_expected", line=self._line_of_unknown(name), found=name))
            return None
        reader = TableReader(raw, "drive", where=name)
        self._check_parts(reader, name)
        paths = {key: self._file(reader, key) for key in _FILES if key in raw}
        for problem in reader.problems:
            self.note(problem, index)
        return Drive(**{**reader.values, **paths})

    def _check_parts(self, reader: TableReader, name: str) -> None:
        """Note parts of a drive that are missing or given twice: checks, or a track with readings or held speeds."""
        raw = reader.table
        given = [key for key in _READINGS if key in raw]
        if "checks" not in raw and "track" not in raw:
            reader.problems.append(Problem("no_track", table=name))
        if not given:
            reader.problems.append(Problem("no_readings", table=name))
        if len(given) > 1 or ("checks" in raw and "track" in raw):
            keys = [*(["track"] if "checks" in raw and "track" in raw else []), *given]
            reader.problems.append(Problem("two_kinds_of_readings", table=name, keys=keys))
        if "held" in reader.values and "unit" not in reader.values and not self.unit:
            reader.problems.append(Problem("held_without_unit", table=name))

    def _file(self, reader: TableReader, key: str) -> Path | None:
        name: str = reader.get(key, "")
        path = self.path
        for written in (name, name.replace("\\", "/")):  # Windows parts folders by either
            path = self.path.parent / written
            try:
                if name and path.is_file():
                    return path
            except (OSError, ValueError):
                pass
        if not any(problem.values.get("key") == key for problem in reader.problems):
            reader.problem("no_such_file", key, found=name, **_near(path))
        return None

    def owned(self, name: str) -> Any:
        """Return the vehicle, the work or the tolerance, read by the room that owns it; None without its table."""
        table = self.table(name)
        if table is None:
            return None
        try:
            return self._read_owned(name, table)
        except SpeedcalError as error:
            for problem in error.problems or (Problem(error.code, **error.values),):
                self.note(problem if "table" in problem.values else Problem(problem.code, table=name, **problem.values))
            return None

    def _read_owned(self, name: str, table: Mapping[str, Any]) -> Vehicle | Work | Tolerance:
        source = self.path.name
        if name == "tolerance":
            from speedcal.conformity import load_tolerance

            return load_tolerance(table, source=source, unit=self.unit)
        from speedcal.vehicle import Vehicle, Work

        if name == "work":
            return Work.from_dict(table, source=source)
        return Vehicle.from_dict(table, source=source, folder=self.path.parent)


def _near(path: Path) -> dict[str, Any]:
    """Return the nearest file name beside a missing one, and whether its folder is missing too."""
    try:
        names = sorted(p.name for p in path.parent.iterdir() if p.is_file())
    except (OSError, ValueError):
        return {"near": None, "folder_missing": True}
    close = difflib.get_close_matches(path.name, names, n=1)
    return {"near": close[0] if close else None, "folder_missing": False}


def _read_document(path: Path) -> tuple[bytes, str, dict[str, Any]]:
    try:
        data = read_small(path)
    except (OSError, ValueError) as error:
        if getattr(error, "errno", None) == errno.EFBIG:
            raise JobError("job_file_too_large", source=path.name) from None
        reason = getattr(error, "strerror", None) or str(error)
        raise JobError("job_file_cannot_be_opened", source=str(path), reason=reason) from None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise JobError("job_file_not_text", source=path.name, line=line) from None
    try:
        return data, text, tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        if not re.search(r"^\s*\[", text, re.MULTILINE):
            raise JobError("not_a_job_file", source=path.name) from None
        found = re.search(r"line (\d+)", str(error))
        what = re.sub(r" *[(]at .*[)]$", "", str(error)).rstrip(".")
        at = int(found[1]) if found else None
        raise JobError("job_file_not_toml", source=path.name, line=at, what=what) from None


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
    path = path / "job.toml" if _is_folder(path) else path
    data, text, document = _read_document(path)
    reader = _JobReader(path, text, document)
    reader.check_tables()
    head = reader.head()
    before, after = reader.drives("before"), reader.drives("after")
    if not {"before", "after", "vehicle"} & set(document):
        reader.problems.append(Problem("job_without_drive"))
    vehicle, work, tolerance = (reader.owned(name) for name in ("vehicle", "work", "tolerance"))
    if reader.problems:
        problems = sorted(reader.problems, key=lambda item: (item.line is None, item.line or 0))
        raise_problems(problems, source=path.name, kind=JobError, several="job_file_problems")
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


def _is_folder(path: Path) -> bool:
    try:
        return path.is_dir()
    except (OSError, ValueError):
        return False


def job_text(document: Mapping[str, Any]) -> str:
    """Write the tables of a job as TOML 1.0: texts, numbers, booleans, lists and tables in tables."""
    lines: list[str] = []
    for name, value in document.items():
        for table in value if isinstance(value, list) else [value]:
            lines += _written_table(name, table, in_list=isinstance(value, list))
    return "\n".join(lines).lstrip("\n") + "\n"


def _written_table(name: str, table: Mapping[str, Any], *, in_list: bool = False) -> list[str]:
    lines = ["", f"[[{name}]]" if in_list else f"[{name}]"]
    lines += [f"{_written_key(k)} = {_written(v)}" for k, v in table.items() if not isinstance(v, Mapping)]
    for key, value in table.items():
        if isinstance(value, Mapping):
            lines += _written_table(f"{name}.{_written_key(key)}", value)
    return lines


def _written_key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else _written_text(key)


def _written(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, list | tuple):
        return f"[{', '.join(_written(v) for v in value)}]"
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_written_key(k)} = {_written(v)}" for k, v in value.items()) + "}"
    return _written_text(str(value))


def _written_text(text: str) -> str:
    escaped = "".join(_ESCAPES.get(c) or (f"\\u{ord(c):04x}" if ord(c) < 32 or ord(c) == 127 else c) for c in text)
    return f'"{escaped}"'


_ESCAPES = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r"}
