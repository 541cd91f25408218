"""The job store: jobs, their drives and their links, in SQLite or PostgreSQL."""

from __future__ import annotations

import json
import secrets
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

import sqlalchemy as sa

from speedcal.web.kept import schema
from speedcal.web.kept.database import open_database
from speedcal.web.kept.rows import (
    CONTENT,
    STAGES,
    DriveRow,
    JobRow,
    document_columns,
    drive_columns,
    drive_row,
    job_row,
)
from speedcal.web.kept.stages import restage, touch


class Store:
    """All that is not a file. Every method is one transaction; what it returns is committed."""

    def __init__(self, url: str) -> None:
        self.engine = open_database(url)
        try:
            with self.writing() as connection:
                schema.migrate(connection)
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Give back every connection; safe to call twice."""
        self.engine.dispose()

    @contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """Open a transaction that may write."""
        with self.engine.execution_options(speedcal_write=True).begin() as connection:
            yield connection

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """Open a transaction that only reads."""
        with self.engine.begin() as connection:
            yield connection

    # jobs

    def add_job(self, document: Mapping[str, Any]) -> str:
        """Keep a new job and return its id."""
        job_id, now = new_id(), time.time()
        with self.writing() as connection:
            connection.execute(
                schema.jobs.insert().values(
                    id=job_id, created=now, updated=now, stage="waiting", **document_columns(document)
                )
            )
        return job_id

    def job(self, job_id: str) -> JobRow | None:
        """Return a job, or None when there is none of this id."""
        with self.reading() as connection:
            row = connection.execute(sa.select(schema.jobs).where(schema.jobs.c.id == job_id)).mappings().first()
        return job_row(row) if row else None

    def find_jobs(
        self,
        words: str = "",
        stage: str = "",
        *,
        made: tuple[float, float] | None = None,
        limit: int = 200,
        offset: int = 0,
    ) -> list[JobRow]:
        """Return jobs that carry every word in number, label, customer or note, the latest change first.

        ``stage`` may also be ``news``: those with something the shop has not seen; ``made`` says from when until when.
        """
        jobs = schema.jobs
        query = sa.select(jobs).order_by(jobs.c.updated.desc(), jobs.c.id).limit(limit).offset(offset)
        if made:
            query = query.where(jobs.c.created >= made[0], jobs.c.created < made[1])
        if stage == "news":
            query = query.where(jobs.c.news != "")
        for word in words.casefold().split()[:10]:
            query = query.where(jobs.c.search.contains(word, autoescape=True))
        if stage in STAGES:
            query = query.where(jobs.c.stage == stage)
        with self.reading() as connection:
            return [job_row(row) for row in connection.execute(query).mappings()]

    def change_job(self, job_id: str, document: Mapping[str, Any], *, seen: Mapping[str, Any] | None = None) -> bool:
        """Replace the tables of a job; its result is out of date from here on.

        With ``seen`` nothing is replaced, and False returned, when the job is no longer what the caller saw.
        """
        jobs = schema.jobs
        mine = jobs.c.id == job_id
        if seen is not None:
            mine = sa.and_(mine, jobs.c.document == document_columns(seen)["document"])
        with self.writing() as connection:
            changed = connection.execute(
                jobs.update()
                .where(mine)
                .values(updated=time.time(), revision=jobs.c.revision + 1, **document_columns(document))
            )
        return bool(changed.rowcount)

    def pin_units(self, job_id: str, unit: str) -> None:
        """Write down the unit that held speeds were read in where a drive does not say: that of the job until now."""
        for drive in (*self.drives(job_id), *self.drives(job_id, removed=True)):
            if drive.held and "unit" not in drive.options:
                options = json.dumps({**drive.options, "unit": unit})
                same = sa.and_(schema.drives.c.id == drive.id, schema.drives.c.version == drive.version)
                with self.writing() as connection:
                    connection.execute(schema.drives.update().where(same).values(options=options))

    def close_job(self, job_id: str, *, closed: bool) -> None:
        """Close a job or open it again."""
        with self.writing() as connection:
            connection.execute(
                schema.jobs.update().where(schema.jobs.c.id == job_id).values(closed=closed, updated=time.time())
            )
            restage(connection, job_id)

    def tell_news(self, job_id: str, news: str) -> None:
        """Note what came in for a job, or that the shop has seen it."""
        jobs = schema.jobs
        with self.writing() as connection:
            connection.execute(jobs.update().where(jobs.c.id == job_id, jobs.c.news != news).values(news=news))

    def delete_job(self, job_id: str) -> None:
        """Forget a job; its id is remembered as doomed until its files are gone too."""
        with self.writing() as connection:
            found = connection.execute(schema.jobs.delete().where(schema.jobs.c.id == job_id))
            if found.rowcount:
                connection.execute(schema.doomed.insert().values(job_id=job_id))

    def doomed(self) -> list[str]:
        """Return ids of deleted jobs whose files may still be there."""
        with self.reading() as connection:
            return list(connection.execute(sa.select(schema.doomed.c.job_id)).scalars())

    def buried(self, job_id: str) -> None:
        """Note that the files of a deleted job are gone."""
        with self.writing() as connection:
            connection.execute(schema.doomed.delete().where(schema.doomed.c.job_id == job_id))

    # drives

    def add_drive(self, job_id: str, phase: str, values: Mapping[str, Any], *, client_key: str | None = None) -> str:
        """Keep a drive and return its id; the same drive sent again returns the first id.

        The same is what carries the same ``client_key``, and a track with the same readings in the same phase.

        Raises
        ------
        KeyError
            There is no such job (any more).
        """
        drives, drive_id = schema.drives, new_id()
        with self.writing() as connection:
            if connection.execute(sa.select(schema.jobs.c.id).where(schema.jobs.c.id == job_id)).first() is None:
                raise KeyError(job_id)
            content = [drives.c[name] == values.get(name, "") for name in CONTENT]
            same = sa.and_(drives.c.phase == phase, drives.c.removed == 0, drives.c.track_digest != "", *content)
            if client_key:
                same = sa.or_(same, drives.c.client_key == client_key)
            query = sa.select(drives.c.id).where(drives.c.job_id == job_id, same).order_by(drives.c.created)
            if (found := connection.execute(query).scalar()) is not None:
                return str(found)
            row = {"id": drive_id, "job_id": job_id, "phase": phase, "created": time.time(), "client_key": client_key}
            connection.execute(drives.insert().values(**row, **drive_columns(values)))
            touch(connection, job_id)
        return drive_id

    def change_drive(self, drive_id: str, values: Mapping[str, Any]) -> None:
        """Replace parts of a drive; what was understood before is forgotten."""
        version = schema.drives.c.version + 1
        self._set_of_drive(drive_id, version=version, look="", look_run="", **drive_columns(values))

    def remove_drive(self, drive_id: str) -> None:
        """Take a drive out of its job; it is kept for a while, so that it can be put back."""
        self._set_of_drive(drive_id, removed=time.time(), client_key=None)

    def restore_drive(self, drive_id: str) -> None:
        """Put a removed drive back."""
        self._set_of_drive(drive_id, removed=0.0)

    def _set_of_drive(self, drive_id: str, **values: Any) -> None:
        drives = schema.drives
        with self.writing() as connection:
            job_id = connection.execute(
                drives.update().where(drives.c.id == drive_id).values(**values).returning(drives.c.job_id)
            ).scalar()
            if job_id is not None:
                touch(connection, job_id)

    def forget_removed(self, before: float) -> list[DriveRow]:
        """Forget drives that were removed before a moment and return them; their files can go."""
        drives = schema.drives
        old = sa.and_(drives.c.removed > 0, drives.c.removed < before)
        with self.writing() as connection:
            gone = connection.execute(drives.delete().where(old).returning(*drives.c)).mappings()
            return [drive_row(row) for row in gone]

    def forget_content(self, before: float) -> list[DriveRow]:
        """Forget what the drives of jobs that rest closed since a moment were made of, and return them as they were."""
        drives, jobs = schema.drives, schema.jobs
        resting = sa.select(jobs.c.id).where(jobs.c.closed, jobs.c.updated < before)
        full = sa.or_(*(drives.c[name] != "" for name in CONTENT))
        with self.writing() as connection:
            old = sa.and_(drives.c.job_id.in_(resting), full)
            rows = [drive_row(row) for row in connection.execute(sa.select(drives).where(old)).mappings()]
            connection.execute(drives.update().where(old).values(dict.fromkeys(CONTENT, "")))
        return rows

    def say_of_drive(self, drive_id: str, said: Mapping[str, Any]) -> None:
        """Keep what was refused of the last form of a drive; an empty mapping forgets it."""
        drives, text = schema.drives, json.dumps(said, ensure_ascii=False) if said else ""
        with self.writing() as connection:
            connection.execute(drives.update().where(drives.c.id == drive_id, drives.c.said != text).values(said=text))

    def drive(self, drive_id: str) -> DriveRow | None:
        """Return a drive, or None when there is none of this id."""
        return self._first_drive(schema.drives.c.id == drive_id)

    def drive_sent(self, job_id: str, client_key: str) -> DriveRow | None:
        """Return the drive of a job that was sent under a key, or None."""
        return self._first_drive(schema.drives.c.job_id == job_id, schema.drives.c.client_key == client_key)

    def _first_drive(self, *which: sa.ColumnElement[bool]) -> DriveRow | None:
        with self.reading() as connection:
            row = connection.execute(sa.select(schema.drives).where(*which)).mappings().first()
        return drive_row(row) if row else None

    def drives(self, job_id: str, *, removed: bool = False) -> list[DriveRow]:
        """Return the drives of a job in the order they came, or those that were removed from it."""
        drives = schema.drives
        mine = sa.and_(drives.c.job_id == job_id, drives.c.removed > 0 if removed else drives.c.removed == 0)
        query = sa.select(drives).where(mine).order_by(drives.c.created, drives.c.id)
        with self.reading() as connection:
            return [drive_row(row) for row in connection.execute(query).mappings()]

    def known_originals(self) -> dict[str, set[str]]:
        """Return the digests that the drives of every job mention."""
        drives = schema.drives
        known: dict[str, set[str]] = {}
        with self.reading() as connection:
            for row in connection.execute(sa.select(drives.c.job_id, drives.c.track_digest, drives.c.readings_digest)):
                known.setdefault(row.job_id, set()).update({row.track_digest, row.readings_digest})
        return known

    # small facts of the installation, such as the digest of the passcode

    def fact(self, key: str) -> str | None:
        """Return a fact, or None when it was never set."""
        with self.reading() as connection:
            return connection.execute(sa.select(schema.meta.c.value).where(schema.meta.c.key == key)).scalar()

    def set_fact(self, key: str, value: str) -> None:
        """Set a fact."""
        with self.writing() as connection:
            connection.execute(schema.meta.delete().where(schema.meta.c.key == key))
            connection.execute(schema.meta.insert().values(key=key, value=value))


def new_id() -> str:
    """Return an id nobody can guess, safe as a folder name."""
    return secrets.token_hex(10)
