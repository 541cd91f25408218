"""The queue of analyses: each is done once, and again by somebody else when its worker is lost."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from speedcal.web.kept import schema
from speedcal.web.kept.rows import DriveRow, JobRow
from speedcal.web.kept.store import Store, new_id

LEASE_S = 30.0
"""A running analysis whose worker gave no sign for this long is taken over by another worker."""
ATTEMPTS = 3
"""An analysis whose worker was lost this often is given up."""
_IDS_AT_ONCE = 500
"""Jobs asked for in one query: every database takes so many values."""
FILM = "film:"
"""What stands before the id of a film where runs have the id of a drive."""


@dataclass(frozen=True, slots=True)
class Run:
    """One analysis: a look at the files of a drive, or the whole job."""

    id: str
    job_id: str
    drive_id: str
    revision: int
    state: str
    attempts: int
    owner: str
    step: str
    part: float
    outcome: dict[str, Any]
    created: float
    finished: float

    @property
    def is_active(self) -> bool:
        """Tell whether the answer is still to come."""
        return self.state in ("queued", "running")


class Queue:
    """Runs in the order they came.

    A worker counts a number up while it lives. It is lost when the server that asks has itself seen no new number for
    the length of a lease, by its own monotonic clock: the clock of the day may step either way meanwhile.
    """

    def __init__(self, store: Store, *, lease_s: float = LEASE_S) -> None:
        self.store, self.lease_s = store, lease_s
        self._seen: dict[tuple[str, int, int], float] = {}
        """When this server first saw a run with this attempt and this number."""
        self._watching = threading.Lock()

    def put(self, job_id: str, drive_id: str = "") -> str:
        """Ask for a look at a drive, or for the whole job; one that already waits is enough.

        Raises
        ------
        KeyError
            There is no such job (any more).
        """
        with self.store.writing() as connection:
            return _put(connection, job_id, drive_id)

    def waiting(self) -> int:
        """Return how many runs wait for a worker."""
        runs = schema.runs
        query = sa.select(sa.func.count()).select_from(runs).where(runs.c.state == "queued")
        with self.store.reading() as connection:
            return int(connection.execute(query).scalar() or 0)

    def claim(self, owner: str) -> Run | None:
        """Take the oldest run that waits or whose worker was lost; None when there is nothing to do.

        The run carries the revision of its job at this moment.
        """
        runs, jobs = schema.runs, schema.jobs
        revision = sa.select(jobs.c.revision).where(jobs.c.id == runs.c.job_id).scalar_subquery()
        with self.store.writing() as connection:
            oldest = (
                sa.select(runs.c.id)
                .where(sa.or_(sa.and_(runs.c.state == "queued", _is_free(runs)), *self._lost(connection)))
                .order_by(_rank(runs), runs.c.turn)
                .limit(1)
                .with_for_update(skip_locked=True)
                .scalar_subquery()
            )
            row = (
                connection.execute(
                    runs.update()
                    .where(runs.c.id == oldest)
                    .values(state="running", owner=owner, attempts=runs.c.attempts + 1, revision=revision)
                    .returning(*runs.c)
                )
                .mappings()
                .first()
            )
        return _run(row) if row else None

    def _lost(self, connection: sa.Connection) -> list[sa.ColumnElement[bool]]:
        """Return a condition for every running run whose worker gave no sign for the length of a lease."""
        runs, now = schema.runs, time.monotonic()
        query = sa.select(runs.c.id, runs.c.attempts, runs.c.beat).where(runs.c.state == "running")
        rows = connection.execute(query).all()
        with self._watching:
            self._seen = {
                sign: self._seen.get(sign, now) for sign in ((row.id, row.attempts, row.beat) for row in rows)
            }
            lost = [sign for sign, since in self._seen.items() if now - since > self.lease_s]
        return [sa.and_(runs.c.id == i, runs.c.attempts == attempts, runs.c.beat == beat) for i, attempts, beat in lost]

    def beat(self, run: Run, *, step: str = "", part: float = 0.0) -> bool:
        """Give a sign of life and say how far the run is; False when it is no longer this owner's."""
        return self._update(run, beat=schema.runs.c.beat + 1, **({"step": step[:200], "part": part} if step else {}))

    def finish(self, run: Run, state: str, outcome: Mapping[str, Any]) -> bool:
        """End a run with its outcome; False when it is no longer this owner's, and nothing was kept."""
        is_kept = self._update(
            run, state=state, outcome=json.dumps(outcome, ensure_ascii=False), finished=time.time(), step="", part=1.0
        )
        if is_kept and outcome and not run.drive_id:
            self.store.tell_news(run.job_id, "result")
        return is_kept

    def finish_look(self, run: Run, version: int, look: Mapping[str, Any]) -> bool:
        """End a look and keep what was understood, unless the drive has changed since.

        When the drive can be measured, the analysis of the job is queued in the same transaction: at no moment does it
        seem that nothing more is to come.
        """
        drives, runs = schema.drives, schema.runs
        with self.store.writing() as connection:
            mine = runs.update().where(runs.c.id == run.id, runs.c.owner == run.owner, runs.c.state == "running")
            if not connection.execute(mine.values(state="done", finished=time.time(), step="", part=1.0)).rowcount:
                return False
            same = drives.update().where(drives.c.id == run.drive_id, drives.c.version == version)
            kept = connection.execute(same.values(look=json.dumps(look, ensure_ascii=False), look_run=run.id))
            if kept.rowcount and look["fit"] is not None and not look["errors"]:
                _put(connection, run.job_id, "")
            return bool(kept.rowcount)

    def finish_refused(self, run: Run, drive: DriveRow, look: Mapping[str, Any]) -> bool:
        """End the analysis of a job that found a drive which must not count, and ask for one without that drive."""
        drives = schema.drives
        ended = {"state": "failed", "outcome": "", "finished": time.time(), "step": "", "part": 1.0}
        if not self._update(run, **ended):
            return False
        with self.store.writing() as connection:
            same = drives.update().where(drives.c.id == drive.id, drives.c.version == drive.version)
            connection.execute(same.values(look=json.dumps(look, ensure_ascii=False)))
            _put(connection, run.job_id, "")
        return True

    def ahead(self, run: Run) -> int:
        """Return how many runs are served before one that waits; 0 for one that is being worked on."""
        runs = schema.runs
        if run.state != "queued":
            return 0
        mine = sa.select(_rank(runs), runs.c.turn).where(runs.c.id == run.id)
        with self.store.reading() as connection:
            rank, turn = connection.execute(mine).one_or_none() or (0, 0)
        earlier = sa.or_(_rank(runs) < rank, sa.and_(_rank(runs) == rank, runs.c.turn < turn))
        waiting = sa.and_(runs.c.state == "queued", earlier)
        query = sa.select(sa.func.count()).where(sa.or_(waiting, runs.c.state == "running"))
        with self.store.reading() as connection:
            return int(connection.execute(query).scalar() or 0)

    def _update(self, run: Run, **values: Any) -> bool:
        runs = schema.runs
        mine = runs.update().where(runs.c.id == run.id, runs.c.owner == run.owner, runs.c.state == "running")
        with self.store.writing() as connection:
            return bool(connection.execute(mine.values(**values)).rowcount)

    def latest(self, job_id: str, drive_id: str = "") -> Run | None:
        """Return the latest run of a job or of one of its drives."""
        found = self._latest(job_id, drive_id, "", 1)
        return found[0] if found else None

    def latest_done(self, job_id: str, count: int = 2) -> list[Run]:
        """Return the latest finished analyses of a job, the newest first."""
        return self._latest(job_id, "", "done", count)

    def _latest(self, job_id: str, drive_id: str, state: str, count: int) -> list[Run]:
        runs = schema.runs
        query = sa.select(runs).where(runs.c.job_id == job_id, runs.c.drive_id == drive_id)
        if state:
            query = query.where(runs.c.state == state)
        query = query.order_by(*_newest_first()).limit(count)
        with self.store.reading() as connection:
            return [_run(row) for row in connection.execute(query).mappings()]

    def verdicts(self, jobs: Sequence[JobRow]) -> dict[str, str]:
        """Return the verdict of the latest analysis of each job that has one and was not changed since."""
        runs, told = schema.runs, dict[str, str]()
        for at in range(0, len(jobs), _IDS_AT_ONCE):
            revision = {job.id: job.revision for job in jobs[at : at + _IDS_AT_ONCE]}
            query = sa.select(runs.c.job_id, runs.c.revision, runs.c.outcome).where(
                runs.c.job_id.in_(list(revision)), runs.c.drive_id == "", runs.c.state == "done"
            )
            with self.store.reading() as connection:
                found = connection.execute(query.order_by(*_newest_first())).all()
            for job_id, of_revision, outcome in found:
                is_current = of_revision == revision[job_id]
                told.setdefault(job_id, json.loads(outcome).get("verdict", "") if is_current else "")
        return told

    def failed(self, jobs: Sequence[JobRow]) -> set[str]:
        """Return the ids of the jobs whose latest analysis failed."""
        runs, states = schema.runs, dict[str, str]()
        among = runs.c.job_id.in_([job.id for job in jobs])
        query = sa.select(runs.c.job_id, runs.c.state).where(among, runs.c.drive_id == "")
        with self.store.reading() as connection:
            for job_id, state in connection.execute(query.order_by(*_newest_first())):
                states.setdefault(job_id, state)
        return {job_id for job_id, state in states.items() if state == "failed"}

    def active(self, job_id: str) -> Run | None:
        """Return the run of a job that is being worked on or waits, or None."""
        runs = schema.runs
        query = (
            sa.select(runs)
            .where(runs.c.job_id == job_id, runs.c.state.in_(("queued", "running")))
            .order_by(runs.c.state.desc(), runs.c.turn)
            .limit(1)
        )
        with self.store.reading() as connection:
            row = connection.execute(query).mappings().first()
        return _run(row) if row else None

    def forget_old(self, job_id: str, drive_id: str = "", *, keep: int = 3) -> list[str]:
        """Forget all but the latest runs of a job or of one of its drives; return the ids whose files can go."""
        runs = schema.runs
        ended = runs.c.state.in_(("done", "failed"))
        with self.store.writing() as connection:
            query = sa.select(runs.c.id).where(runs.c.job_id == job_id, runs.c.drive_id == drive_id, ended)
            ids = list(connection.execute(query.order_by(*_newest_first())).scalars())[keep:]
            if ids:
                connection.execute(runs.delete().where(runs.c.id.in_(ids)))
        return [str(run_id) for run_id in ids]


def _rank(runs: sa.Table) -> sa.ColumnElement[int]:
    """Return what comes first: looks, somebody waits for them; films last, they take minutes."""
    return sa.case((runs.c.drive_id == "", 1), (runs.c.drive_id.startswith(FILM), 2), else_=0)


def _is_free(runs: sa.Table) -> sa.ColumnElement[bool]:
    """Return whether a run may start: one film at a time, so that the other workers stay free for the rest."""
    other = runs.alias()
    reads = sa.exists().where(other.c.state == "running", other.c.drive_id.startswith(FILM))
    return sa.or_(sa.not_(runs.c.drive_id.startswith(FILM)), sa.not_(reads))


def _put(connection: sa.Connection, job_id: str, drive_id: str) -> str:
    runs, jobs = schema.runs, schema.jobs
    revision = connection.execute(sa.select(jobs.c.revision).where(jobs.c.id == job_id)).scalar()
    if revision is None:
        raise KeyError(job_id)
    waiting = sa.select(runs.c.id).where(runs.c.job_id == job_id, runs.c.drive_id == drive_id, runs.c.state == "queued")
    if (found := connection.execute(waiting).scalar()) is not None:
        return str(found)
    row = {"id": new_id(), "job_id": job_id, "drive_id": drive_id, "revision": revision, "state": "queued"}
    turn = sa.select(sa.func.coalesce(sa.func.max(runs.c.turn), 0) + 1).scalar_subquery()
    connection.execute(runs.insert().values(**row, turn=turn, created=time.time()))
    return str(row["id"])


def _newest_first() -> tuple[sa.ColumnElement[Any], ...]:
    """Return the order of the runs of one job: what saw the latest state of it first, whatever the clock said."""
    runs = schema.runs
    return runs.c.revision.desc(), runs.c.turn.desc(), runs.c.id


def _run(row: sa.RowMapping) -> Run:
    plain = {name: row[name] for name in Run.__slots__ if name != "outcome"}
    return Run(outcome=json.loads(row["outcome"]) if row["outcome"] else {}, **plain)
