"""The stage of a job: waiting, measured, tested or closed, by the drives that are in."""

from __future__ import annotations

import time

import sqlalchemy as sa

from speedcal.web.kept import schema


def touch(connection: sa.Connection, job_id: str) -> None:
    """Say that something of a job has changed, and what stage it is at now."""
    connection.execute(
        schema.jobs.update()
        .where(schema.jobs.c.id == job_id)
        .values(updated=time.time(), revision=schema.jobs.c.revision + 1)
    )
    restage(connection, job_id)


def restage(connection: sa.Connection, job_id: str) -> None:
    """Keep the stage that a job is at by its drives."""
    jobs, drives = schema.jobs, schema.drives
    mine = sa.and_(drives.c.job_id == job_id, drives.c.removed == 0)
    complete = sa.select(drives.c.phase).where(mine, schema.HAS_TRUTH, schema.HAS_READINGS)
    phases = set(connection.execute(complete).scalars())
    closed = connection.execute(sa.select(jobs.c.closed).where(jobs.c.id == job_id)).scalar()
    stage = "closed" if closed else "tested" if "after" in phases else "measured" if "before" in phases else "waiting"
    connection.execute(jobs.update().where(jobs.c.id == job_id).values(stage=stage))
