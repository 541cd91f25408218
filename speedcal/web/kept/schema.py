"""The tables of the job store, and the numbered steps that bring an older store up to date."""

from __future__ import annotations

from collections.abc import Callable

import sqlalchemy as sa
from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Connection,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
    inspect,
    select,
    text,
)
from sqlalchemy.schema import CreateColumn

from speedcal.web.settings import ServiceError

metadata = MetaData()

meta = Table("meta", metadata, Column("key", String(40), primary_key=True), Column("value", Text, nullable=False))

jobs = Table(
    "jobs",
    metadata,
    Column("id", String(32), primary_key=True),
    Column("document", Text, nullable=False),  # the tables of job.toml except the drives, as JSON
    Column("search", Text, nullable=False),  # what the list is searched in, case folded
    Column("stage", String(12), nullable=False),  # waiting, measured, tested, closed
    Column("closed", Boolean, nullable=False, default=False),
    Column("revision", Integer, nullable=False, default=1),  # counts changes that change the result
    Column("created", Float, nullable=False),
    Column("updated", Float, nullable=False),
    Column("news", String(8), nullable=False, server_default=""),  # what the shop has not seen yet: drive, result
    Index("jobs_by_update", "updated"),
)


def _of_job() -> ForeignKey:
    return ForeignKey("jobs.id", ondelete="CASCADE")


drives = Table(
    "drives",
    metadata,
    Column("id", String(32), primary_key=True),
    Column("job_id", _of_job(), nullable=False, index=True),
    Column("phase", String(6), nullable=False),  # before or after
    Column("created", Float, nullable=False),
    Column("track_name", Text, nullable=False, default=""),  # a label, never a path
    Column("track_digest", String(64), nullable=False, default=""),
    Column("readings_name", Text, nullable=False, default=""),
    Column("readings_digest", String(64), nullable=False, default=""),
    Column("typed", Text, nullable=False, default=""),  # rows as they were typed
    Column("held", Text, nullable=False, default=""),  # speeds held in order, as they were typed
    Column("options", Text, nullable=False, default="{}"),  # unit, column, session, zone, clock_offset_s, as JSON
    Column("client_key", String(64), nullable=True),  # made by the sender, so that sending twice adds one drive
    Column("version", Integer, nullable=False, default=1),
    Column("look", Text, nullable=False, default=""),  # what was understood, as JSON; empty until looked at
    Column("look_run", String(32), nullable=False, default=""),
    Column("removed", Float, nullable=False, server_default="0"),  # when; 0 for a drive that counts
    Column("said", Text, nullable=False, server_default=""),  # what was refused of the last form, as JSON
    UniqueConstraint("job_id", "client_key", name="drive_sent_once"),
)
IS_REFUSED = sa.and_(drives.c.look != "", ~drives.c.look.contains('"errors": []'))
"""A drive that was looked at and needs a change before it counts; the fit of a good one has errors of its own."""

HAS_TRUTH = sa.or_(drives.c.track_digest != "", drives.c.options.contains('"checks"'))
HAS_READINGS = sa.or_(drives.c.readings_digest != "", drives.c.typed != "", drives.c.held != "")
"""What a drive is made of: a track, or checks that need none, and readings in whatever way they were given."""

films = Table(
    "films",
    metadata,
    Column("id", String(32), primary_key=True),
    Column("job_id", _of_job(), nullable=False, index=True),
    Column("phase", String(6), nullable=False),  # before or after
    Column("created", Float, nullable=False),
    Column("client_key", String(64), nullable=False),  # size and check sum, so that the same film goes on
    Column("name", Text, nullable=False),  # a label, never a path
    Column("size", BigInteger, nullable=False),
    Column("arrived", BigInteger, nullable=False, default=0),  # bytes that are safely on disk
    Column("drive_id", String(32), nullable=False, default=""),  # the drive that its readings join; empty: a new one
    Column("version", Integer, nullable=False, default=1),  # counts changes of the marks
    Column("stills", Text, nullable=False, default=""),  # pictures to take the marks in, as JSON
    Column("dial", Text, nullable=False, default=""),  # the marks, as JSON
    Column("reading", Text, nullable=False, default=""),  # what was read, as JSON
    Column("problem", Text, nullable=False, default=""),  # why the last step failed, as JSON
    Column("accepted", Float, nullable=False, default=0.0),  # when; 0 while the readings wait for it
    UniqueConstraint("job_id", "phase", "client_key", name="film_sent_once"),
)

runs = Table(
    "runs",
    metadata,
    Column("id", String(32), primary_key=True),
    Column("job_id", _of_job(), nullable=False, index=True),
    Column("drive_id", String(32), nullable=False, default=""),  # empty: the whole job; film:ID: a film
    Column("revision", Integer, nullable=False),
    Column("state", String(8), nullable=False),  # queued, running, done, failed
    Column("attempts", Integer, nullable=False, default=0),
    Column("owner", String(48), nullable=False, default=""),
    Column("beat", Integer, nullable=False, default=0),  # counted up by the worker while it lives
    Column(
        "turn", BigInteger, nullable=False, default=0
    ),  # order in which runs were asked for, whatever the clock says
    Column("step", Text, nullable=False, default=""),
    Column("part", Float, nullable=False, default=0.0),
    Column("outcome", Text, nullable=False, default=""),  # headline of a job, error of a failure, as JSON
    Column("created", Float, nullable=False),
    Column("finished", Float, nullable=False, default=0.0),
    Index("runs_by_state", "state", "turn"),
    Index("runs_by_turn", "turn"),
)

links = Table(
    "links",
    metadata,
    Column("id", String(32), primary_key=True),
    Column("job_id", _of_job(), nullable=False, index=True),
    Column("role", String(10), nullable=False),  # owner or customer
    Column("created", Float, nullable=False),
    Column("expires", Float, nullable=False),
    Column("revoked", Boolean, nullable=False, default=False),
)

sessions = Table(
    "sessions",
    metadata,
    Column("id", String(64), primary_key=True),  # digest of the cookie
    Column("expires", Float, nullable=False),
    Column("person", String(80), nullable=False, server_default=""),  # empty for the passcode of the shop
)

people = Table(
    "people",
    metadata,
    Column("name", String(80), primary_key=True),
    Column("passcode", Text, nullable=False),  # its digest
    Column("since", Float, nullable=False),
)

history = Table(
    "history",
    metadata,
    Column("id", String(32), primary_key=True),
    Column("at", Float, nullable=False, index=True),
    Column("job_id", String(32), nullable=False, index=True),  # the job may be gone
    Column("title", Text, nullable=False),  # what the job was called
    Column("who", String(80), nullable=False),  # name of a person; empty for the shop, owner for whoever has the link
    Column("what", String(40), nullable=False),
)

attempts = Table(
    "attempts",
    metadata,
    Column("id", BigInteger().with_variant(Integer, "sqlite"), primary_key=True, autoincrement=True),
    Column("who", String(64), nullable=False),  # digest of the address
    Column("at", Float, nullable=False, index=True),
)

doomed = Table(
    "doomed",
    metadata,
    Column("job_id", String(32), primary_key=True),  # deleted; its files go next, even after a crash in between
)


def _order_without_a_clock(connection: Connection) -> None:
    """Leases and order of the runs no longer ask the clock of the day."""
    for statement in (
        text("ALTER TABLE runs ADD COLUMN beat INTEGER NOT NULL DEFAULT 0"),
        text("ALTER TABLE runs ADD COLUMN turn BIGINT NOT NULL DEFAULT 0"),
        text(
            "UPDATE runs SET turn = numbered.n FROM (SELECT id, row_number() OVER (ORDER BY created, id) AS n "
            "FROM runs) AS numbered WHERE numbered.id = runs.id"
        ),
        text("ALTER TABLE runs DROP COLUMN lease_until"),
        text("DROP INDEX runs_by_state"),
        text("CREATE INDEX runs_by_state ON runs (state, turn)"),
        text("CREATE INDEX runs_by_turn ON runs (turn)"),
    ):
        connection.execute(statement)


def _drives_put_back(connection: Connection) -> None:
    """Drives can be removed and put back, and keep what was refused of the last form."""
    for column in (drives.c.removed, drives.c.said):
        kind = CreateColumn(column).compile(dialect=connection.dialect)
        connection.execute(text(f"ALTER TABLE {drives.name} ADD {kind}"))


def _films_of_dials(connection: Connection) -> None:
    """Films of the dial come in and wait for their marks."""
    films.create(connection, checkfirst=True)


def _people_and_news(connection: Connection) -> None:
    """Techs have names, what was done is written down, and the list tells what came in."""
    for table, column in ((jobs, jobs.c.news), (sessions, sessions.c.person)):
        kind = CreateColumn(column).compile(dialect=connection.dialect)
        connection.execute(text(f"ALTER TABLE {table.name} ADD {kind}"))
    people.create(connection, checkfirst=True)
    history.create(connection, checkfirst=True)


MIGRATIONS: tuple[Callable[[Connection], None], ...] = (
    _order_without_a_clock,
    _drives_put_back,
    _films_of_dials,
    _people_and_news,
)
"""Step number n brings a store from schema n to schema n + 1; steps are never changed, only added."""


def migrate(connection: Connection) -> int:
    """Bring the store up to date inside the open transaction and return the number of its schema.

    Raises
    ------
    ServiceError
        The store was written by a newer release.
    """
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(7230419)"))  # two servers starting at once take turns
    version, newest = _version(connection), 1 + len(MIGRATIONS)
    if version > newest:
        raise ServiceError("store_too_new", found=version, known=newest)
    if version == 0:
        metadata.create_all(connection)
    for step in MIGRATIONS[version - 1 :] if version else ():
        step(connection)
    if version < newest:
        connection.execute(meta.delete().where(meta.c.key == "schema"))
        connection.execute(meta.insert().values(key="schema", value=str(newest)))
    return newest


def _version(connection: Connection) -> int:
    if not inspect(connection).has_table("meta"):
        return 0
    found = connection.execute(select(meta.c.value).where(meta.c.key == "schema")).scalar()
    return int(found or 0)
