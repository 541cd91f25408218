"""A backup of the whole shop in one file, taken while the service runs, and the way back from it."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import shutil
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError

from speedcal.web.kept import schema
from speedcal.web.kept.originals import Originals, private, sync_file
from speedcal.web.kept.store import Store
from speedcal.web.settings import ServiceError, Settings, sqlite_url

_STORE, _KEY = "jobs.sqlite", "secret.key"
_TABLES = (schema.jobs, schema.drives, schema.runs, schema.links, schema.people, schema.history, schema.meta)
_ROWS = 500
_PART = "[a-z0-9][a-z0-9_.-]{0,63}"
_NAME = re.compile(f"originals/{_PART}/[0-9a-f]{{64}}|results/{_PART}/{_PART}/{_PART}|{_STORE}|{_KEY}")


@dataclass(frozen=True, slots=True)
class Counts:
    """What is in a backup."""

    jobs: int
    drives: int
    missing: int
    """Files that the store mentions and the data folder lacks."""


def make_backup(settings: Settings, target: Path) -> Counts:
    """Write everything that belongs to the jobs into one file.

    Files are only ever removed after the store has forgotten them. So what a later look at the store still mentions
    was whole when it was copied, and a look that mentions nothing new belongs to the files copied before it.

    Raises
    ------
    ServiceError
        The file exists, there is nothing to write, the disk refused, or the store cannot be read.
    """
    if target.exists():
        raise ServiceError("backup_exists", source=str(target))
    if not (settings.data / _KEY).is_file():
        raise ServiceError("nothing_to_back_up", source=str(settings.data))
    store = _open(settings.database_url)
    part = target.with_name(f"{target.name}.part")
    try:
        with tempfile.TemporaryDirectory(dir=target.absolute().parent) as scratch:
            with (
                open(part, "xb", opener=private) as out,
                zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as packed,
            ):
                counts = _pack(store, settings.data, packed, Path(scratch))
            sync_file(part)
        os.replace(part, target)
    except OSError as error:
        raise ServiceError("backup_not_written", source=str(target), reason=error.strerror) from None
    finally:
        part.unlink(missing_ok=True)
        store.close()
    return counts


def _pack(store: Store, data: Path, packed: zipfile.ZipFile, scratch: Path) -> Counts:
    copied: set[str] = set()
    missing: set[str] = set()
    number = 0
    while True:
        number += 1
        place = scratch / f"{number}.sqlite"
        with contextlib.closing(_open(sqlite_url(place))) as snapshot:
            with _frozen(store) as source, snapshot.writing() as target:
                _copy_rows(source, target)
            wanted = _wanted(snapshot)
            counts = _count(snapshot, len(wanted & missing))
        if wanted <= copied | missing:
            packed.write(place, _STORE)
            packed.write(data / _KEY, _KEY)
            return counts
        missing = {one for one in sorted(wanted - copied) if not _pack_place(data, one, packed)}
        copied |= wanted - missing


def _pack_place(data: Path, place: str, packed: zipfile.ZipFile) -> bool:
    """Pack an original or the folder of a result; False when it is not there (any more)."""
    path = data / place
    try:
        files = sorted(path.iterdir()) if path.is_dir() else [path]
        for file in files:
            packed.write(file, file.relative_to(data).as_posix())
    except FileNotFoundError:
        return False
    return True


def restore_backup(settings: Settings, source: Path) -> Counts:
    """Put a backup into an empty data folder and an empty store.

    Raises
    ------
    ServiceError
        There are jobs already, or the backup is damaged.
    """
    settings.data.mkdir(parents=True, exist_ok=True, mode=0o700)
    store = _open(settings.database_url)
    try:
        if store.find_jobs(limit=1):
            raise ServiceError("restore_not_empty", source=str(settings.data))
        with tempfile.TemporaryDirectory(dir=settings.data) as scratch:
            _unpack(source, Path(scratch))
            return _take_over(store, Originals(settings.data), Path(scratch))
    except OSError as error:
        raise ServiceError("restore_not_written", source=source.name, reason=error.strerror) from None
    finally:
        store.close()


def _unpack(source: Path, scratch: Path) -> None:
    if not source.is_file():  # a device has no end
        raise ServiceError("no_backup", source=source.name)
    try:
        with zipfile.ZipFile(source) as packed:
            names = packed.namelist()
            if not {_STORE, _KEY} <= set(names) or not all(_NAME.fullmatch(name) for name in names):
                raise ServiceError("no_backup", source=source.name)
            for name in names:
                packed.extract(name, scratch)
    except (zipfile.BadZipFile, zipfile.LargeZipFile, EOFError, zlib.error):
        raise ServiceError("backup_damaged", source=source.name) from None
    for original in (scratch / "originals").rglob("*"):
        if original.is_file() and hashlib.sha256(original.read_bytes()).hexdigest() != original.name:
            raise ServiceError("backup_damaged", source=source.name)


def _take_over(store: Store, originals: Originals, scratch: Path) -> Counts:
    snapshot = _open(sqlite_url(scratch / _STORE))
    try:
        wanted = _wanted(snapshot)
        there = {place for place in wanted if (scratch / place).exists()}
        for place in there:
            goal = originals.root / place
            goal.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            if goal.is_dir():
                shutil.rmtree(goal)
            os.replace(scratch / place, goal)
        key = originals.root / _KEY
        os.replace(scratch / _KEY, key)
        key.chmod(0o600)
        if hasattr(os, "sync"):  # Windows has none
            os.sync()
        with _frozen(snapshot) as source, store.writing() as target:
            target.execute(schema.meta.delete().where(schema.meta.c.key != "schema"))
            _copy_rows(source, target)
            undone = schema.runs.update().where(schema.runs.c.state == "running")
            target.execute(undone.values(state="queued", attempts=0, owner=""))
        return _count(snapshot, len(wanted - there))
    finally:
        snapshot.close()


def _open(url: str) -> Store:
    try:
        return Store(url)
    except DBAPIError as error:
        raise ServiceError("store_unusable", reason=type(error.orig).__name__) from None


@contextlib.contextmanager
def _frozen(store: Store) -> Iterator[sa.Connection]:
    """Read the store as it is at one moment, while others go on writing."""
    is_postgres = store.engine.dialect.name == "postgresql"
    engine = store.engine.execution_options(isolation_level="REPEATABLE READ") if is_postgres else store.engine
    with engine.begin() as connection:
        yield connection


def _copy_rows(source: sa.Connection, target: sa.Connection) -> None:
    for table in _TABLES:
        query = sa.select(table)
        if table is schema.meta:
            query = query.where(schema.meta.c.key != "schema")
        for rows in source.execute(query).mappings().partitions(_ROWS):
            target.execute(sa.insert(table), [dict(row) for row in rows])


def _wanted(store: Store) -> set[str]:
    """Return where everything lies that the store mentions: originals, and folders of results."""
    drives, runs = schema.drives, schema.runs
    with store.reading() as connection:
        kept = connection.execute(sa.select(drives.c.job_id, drives.c.track_digest, drives.c.readings_digest)).all()
        places = {f"originals/{row[0]}/{digest}" for row in kept for digest in row[1:] if digest}
        looks = sa.select(drives.c.job_id, drives.c.look_run, drives.c.look)
        found = connection.execute(looks.where(drives.c.look_run != "", drives.c.look != "")).all()
        looked = [(job, run) for job, run, look in found if json.loads(look).get("picture")]  # others have no files
        whole = sa.select(runs.c.job_id, runs.c.id).where(runs.c.state == "done", runs.c.drive_id == "")
        done = connection.execute(whole).all()
    return places | {f"results/{job}/{run}" for job, run in [*looked, *done]}


def _count(store: Store, missing: int) -> Counts:
    with store.reading() as connection:
        jobs, drives = (
            int(connection.execute(sa.select(sa.func.count()).select_from(table)).scalar() or 0)
            for table in (schema.jobs, schema.drives)
        )
    return Counts(jobs, drives, missing)
