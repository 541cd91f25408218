"""A private PostgreSQL server in a temporary folder, reachable through a socket only."""

from __future__ import annotations

import itertools
import os
import pwd
import shutil
import subprocess
from pathlib import Path

_NUMBERS = itertools.count(1)


def find_programs() -> Path | None:
    """Return the folder with initdb and pg_ctl, or None when PostgreSQL is not installed."""
    asked = shutil.which("pg_config")
    if asked:
        folder = Path(subprocess.run([asked, "--bindir"], capture_output=True, text=True, check=True).stdout.strip())
        if (folder / "initdb").exists():
            return folder
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return found[-1].parent if found else None


class PostgresServer:
    """Start, stop and start again; runs as an ordinary user, because PostgreSQL refuses to run as root."""

    def __init__(self, programs: Path, folder: Path) -> None:
        self.programs, self.folder = programs, folder
        self.user = _ordinary_user() if os.geteuid() == 0 else None
        folder.mkdir(parents=True, exist_ok=True)
        folder.chmod(0o755)
        self.home = folder / "pg"
        self.home.mkdir()
        if self.user:
            shutil.chown(self.home, self.user)
        self._run("initdb", "-D", str(self.home / "data"), "-U", "speedcal", "--auth=trust", "--no-sync", "-E", "UTF8")

    def _run(self, program: str, *arguments: str) -> None:
        subprocess.run(
            [str(self.programs / program), *arguments],
            check=True,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            user=self.user,
            cwd=self.home,
            timeout=60,
        )

    def start(self) -> None:
        """Start the server and wait until it answers."""
        options = f"-c listen_addresses='' -c unix_socket_directories={self.home} -c fsync=off"
        self._run("pg_ctl", "-D", str(self.home / "data"), "-w", "-l", str(self.home / "log"), "-o", options, "start")

    def stop(self) -> None:
        """Stop the server at once, as a crash would."""
        self._run("pg_ctl", "-D", str(self.home / "data"), "-w", "-m", "immediate", "stop")

    def url(self, schema: str = "public") -> str:
        """Return the address of the database with one schema of it in front."""
        return f"postgresql+psycopg://speedcal@/postgres?host={self.home}&options=-csearch_path%3D{schema}"


def new_schema(server: PostgresServer) -> str:
    """Return the address of an empty schema."""
    import sqlalchemy as sa

    name = f"s{next(_NUMBERS)}"
    engine = sa.create_engine(server.url())
    with engine.begin() as connection:
        connection.execute(sa.text(f"CREATE SCHEMA {name}"))
    engine.dispose()
    return server.url(name)


def _ordinary_user() -> str:
    names = {entry.pw_name for entry in pwd.getpwall()}
    return next(name for name in ("postgres", "nobody") if name in names)
