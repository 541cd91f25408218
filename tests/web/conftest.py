"""Fixtures of the web tests: the two databases, a service, a browser."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.needs import missing
from support.postgres_server import PostgresServer, find_programs, new_schema
from support.web_site import Site, analysed_at_hand, open_site

from speedcal.web.kept import auth
from speedcal.web.kept.store import Store
from speedcal.web.pages import drives


@pytest.fixture(autouse=True)
def _quick_digest(monkeypatch: pytest.MonkeyPatch) -> None:
    """Make guesses of a passcode cheap; one test checks the real cost."""
    monkeypatch.setattr(auth, "_COST", 16)


def _memory() -> Path | None:
    """Return a folder in memory where there is room; three thousand small files on a disk take seconds to delete."""
    folder = Path("/dev/shm")  # noqa: S108 - the folder made in it has a name of its own
    return folder if folder.is_dir() and shutil.disk_usage(folder).free > 2**30 else None


@pytest.fixture(scope="session")
def postgres() -> Iterator[PostgresServer]:
    """Start a private PostgreSQL server."""
    programs = find_programs()
    if programs is None:
        missing("PostgreSQL")
    # short: a socket address has at most 107 characters
    folder = Path(tempfile.mkdtemp(prefix="speedcal-pg-", dir=_memory()))
    server = PostgresServer(programs, folder)
    server.start()
    yield server
    server.stop()
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(params=["sqlite", "postgresql"])
def database(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Return the address of an empty database, once of each kind."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'jobs.sqlite'}"
    return new_schema(request.getfixturevalue("postgres"))


@pytest.fixture
def store(database: str) -> Iterator[Store]:
    """Open an empty store, once on each database."""
    opened = Store(database)
    yield opened
    opened.close()


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Site]:
    """Start a service that analyses nothing, on this machine, without a passcode."""
    monkeypatch.setattr(drives, "_WAIT_S", 0.0)
    with analysed_at_hand(), open_site(tmp_path) as opened:
        yield opened
