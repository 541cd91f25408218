"""The connection to SQLite or PostgreSQL, set so that nothing acknowledged is lost."""

from __future__ import annotations

import sqlite3
import time
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy import event
from sqlalchemy.engine import make_url

from speedcal.web.settings import ServiceError

_OLDEST_SQLITE = (3, 35)
"""The first that tells what a statement changed (RETURNING); Python may be built with an older one."""
_BUSY_MS = 15000
"""How long a write waits for another program that holds the file."""


def open_database(url: str) -> sa.Engine:
    """Return the engine of a database address.

    Raises
    ------
    ServiceError
        The address cannot be read, or its kind of database or driver is missing or too old.
    """
    try:
        parsed = make_url(url)
    except (sa.exc.ArgumentError, ValueError):
        raise ServiceError("database_address_unreadable") from None
    if parsed.get_backend_name() == "sqlite":
        if sqlite3.sqlite_version_info < _OLDEST_SQLITE:
            raise ServiceError("sqlite_too_old", found=sqlite3.sqlite_version)
        if parsed.drivername != "sqlite" or not Path(parsed.database or "").is_absolute():  # in memory nothing is kept
            raise ServiceError("database_unsupported", found=url)
        engine = sa.create_engine(parsed, connect_args={"timeout": 15, "check_same_thread": False}, pool_size=8)
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
        return engine
    if parsed.drivername != "postgresql+psycopg":
        raise ServiceError("database_unsupported", found=parsed.drivername)
    try:
        return sa.create_engine(parsed, pool_pre_ping=True, pool_size=8, connect_args={"connect_timeout": 5})
    except ImportError:
        raise ServiceError("database_driver_missing") from None


def _prepare_sqlite(connection: Any, _record: Any) -> None:
    connection.isolation_level = None  # transactions are opened by _begin_sqlite
    cursor = connection.cursor()
    for pragma in (f"busy_timeout={_BUSY_MS}", "synchronous=FULL", "foreign_keys=ON"):
        cursor.execute(f"PRAGMA {pragma}")
    _write_ahead(cursor)
    cursor.close()


def _write_ahead(cursor: Any) -> None:
    """Switch to the write-ahead log; SQLite does not wait for others here by itself."""
    until = time.monotonic() + _BUSY_MS / 1000
    while True:
        try:
            cursor.execute("PRAGMA journal_mode=WAL")
            return
        except sqlite3.OperationalError:
            if time.monotonic() > until:
                raise
            time.sleep(0.05)


def _begin_sqlite(connection: sa.Connection) -> None:
    write = connection.get_execution_options().get("speedcal_write", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")
