"""What was computed before: outcomes of drives by the digest of their content, so that nothing is done twice."""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from speedcal.errors import FleetError
from speedcal.fleet.addresses import facts_at
from speedcal.fleet.drive import DriveFiles, Written, key_of, readable
from speedcal.fleet.kept import Outcome
from speedcal.units import DisplayUnit

NAME = "drives.sqlite"


class Remembered:
    """Outcomes in a SQLite file of the result's folder, or in memory; one program writes at a time.

    A file whose place, size and time of change are those of the last run is not read again. One that was moved or
    copied is recognised by its content.
    """

    def __init__(self, folder: Path | None) -> None:
        self._folder = folder
        try:
            if folder is not None:
                folder.mkdir(parents=True, exist_ok=True)
        except OSError as problem:
            raise FleetError("folder_not_usable", source=str(folder), reason=problem.strerror or str(problem)) from None
        with self._told():
            self._db = sqlite3.connect(":memory:" if folder is None else folder / NAME)
            self._db.executescript("""
                PRAGMA journal_mode=WAL;
                PRAGMA synchronous=NORMAL;
                CREATE TABLE IF NOT EXISTS outcomes (key TEXT PRIMARY KEY, outcome TEXT NOT NULL) WITHOUT ROWID;
                CREATE TABLE IF NOT EXISTS files (
                    path TEXT PRIMARY KEY, size INTEGER, changed INTEGER, digest TEXT
                ) WITHOUT ROWID;
                CREATE INDEX IF NOT EXISTS files_by_size ON files (size);
                CREATE TABLE IF NOT EXISTS runs (number INTEGER PRIMARY KEY, drives TEXT NOT NULL, wrong TEXT NOT NULL);
            """)

    def close(self) -> None:
        """Let go of the file."""
        self._db.close()

    def known(self, files: DriveFiles, unit: DisplayUnit | None) -> str | None:
        """Return the key of a drive that was measured before, None where it has to be measured."""
        digests = [hashlib.sha256(data).hexdigest() for data in files.data] or self._digests(files.paths)
        if None in digests:
            return None
        key = key_of([d for d in digests if d], files, unit)
        with self._told():
            return key if self._db.execute("SELECT 1 FROM outcomes WHERE key = ?", (key,)).fetchone() else None

    def outcome(self, key: str) -> Outcome:
        """Return what became of a drive."""
        with self._told():
            row = self._db.execute("SELECT outcome FROM outcomes WHERE key = ?", (key,)).fetchone()
            outcome: Outcome = json.loads(row[0])
        return outcome

    @contextmanager
    def _told(self) -> Iterator[None]:
        """Say in words that the disk is full, or the file damaged or of another program."""
        try:
            yield
        except (sqlite3.Error, ValueError) as problem:
            raise FleetError("results_not_kept", source=str(self._folder), reason=str(problem)) from None

    def _digests(self, paths: Sequence[str]) -> list[str | None]:
        with self._told():
            return [self._digest(path) for path in paths]

    def _digest(self, path: str) -> str | None:
        row = self._db.execute("SELECT size, changed, digest FROM files WHERE path = ?", (readable(path),)).fetchone()
        if row is None and "://" in path:
            return None
        facts = _facts(path)
        if facts is None:
            return None
        if row is not None and tuple(row[:2]) == facts:
            return str(row[2])
        if "://" in path or self._db.execute("SELECT 1 FROM files WHERE size = ?", facts[:1]).fetchone() is None:
            return None
        try:
            return hashlib.sha256(Path(path).read_bytes()).hexdigest()
        except OSError:
            return None

    def keep(self, done: Iterable[tuple[DriveFiles, Written]]) -> list[tuple[DriveFiles, str]]:
        """Remember outcomes and return their keys; once this returns they survive the end of this program.

        Not that of the machine: what the last seconds had measured is then measured again.
        A drive that could not be read has no content to be known by: it is tried again in the next run.
        """
        keys = []
        with self._told(), self._db:
            for files, outcome in done:
                key = outcome.key or f"unread {files.vehicle}/{files.name}"
                self._db.execute("INSERT OR REPLACE INTO outcomes VALUES (?, ?)", (key, outcome.text))
                keys.append((files, key))
                for path, digest in zip(files.paths, outcome.digests, strict=False):
                    facts = None if files.data else _facts(path)
                    if facts is not None:
                        place = digest if files.passing else readable(path)
                        self._db.execute("INSERT OR REPLACE INTO files VALUES (?, ?, ?, ?)", (place, *facts, digest))
        return keys

    def compare_run(self, drives: Iterable[str], wrong: Sequence[str]) -> list[str] | None:
        """Return the vehicles that were wrong in the run before this one, and remember this one.

        The same drives once more are the same run.
        """
        mark = hashlib.sha256("\n".join(sorted(drives)).encode()).hexdigest()
        with self._told(), self._db:
            rows = self._db.execute("SELECT drives, wrong FROM runs ORDER BY number DESC LIMIT 2").fetchall()
            before = [row for row in rows if row[0] != mark]
            if not rows or rows[0][0] != mark:
                self._db.execute("INSERT INTO runs (drives, wrong) VALUES (?, ?)", (mark, json.dumps(list(wrong))))
            else:
                self._db.execute(
                    "UPDATE runs SET wrong = ? WHERE number = (SELECT max(number) FROM runs)",
                    (json.dumps(list(wrong)),),
                )
            return json.loads(before[0][1]) if before else None


def _facts(path: str) -> tuple[int, int] | None:
    """Return size and time of change of a file; None where they are not known."""
    try:
        if "://" in path:
            return facts_at(path)
        found = os.stat(path)  # a path made of each name costs as much again
    except (OSError, FleetError):
        return None
    return found.st_size, found.st_mtime_ns
