"""Films on disk: they grow piece by piece, and they go when their readings were accepted."""

from __future__ import annotations

import os
import shutil
import time
from pathlib import Path
from typing import BinaryIO

from speedcal.web.kept.film_store import FilmRow, Films
from speedcal.web.kept.originals import Originals

_DAY_S = 86400
FILM_FILE, READINGS_FILE = "film", "readings.csv"


def write_piece(originals: Originals, film: FilmRow, at: int, content: BinaryIO) -> None:
    """Write a piece where it belongs; once this returns it survives a crash of the program or of the machine."""
    folder = originals.film(film.job_id, film.id)
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    with os.fdopen(os.open(folder / FILM_FILE, os.O_RDWR | os.O_CREAT, 0o600), "r+b") as out:
        out.seek(at)
        shutil.copyfileobj(content, out, 2**20)
        out.flush()
        os.fsync(out.fileno())


def keep_files(originals: Originals, film: FilmRow, made: Path) -> None:
    """Move what a worker made of a film to it, in the place of what it made before."""
    folder = originals.film(film.job_id, film.id)
    for file in made.iterdir():
        os.replace(file, folder / file.name)


def remove_film(films: Films, originals: Originals, film: FilmRow) -> None:
    """Delete a film and all that was made of it, for good."""
    films.remove(film)
    shutil.rmtree(originals.film(film.job_id, film.id), ignore_errors=True)


def forget_films(films: Films, originals: Originals, *, days: int) -> None:
    """Delete films that wait too long for somebody to accept their readings, and what a crash left of others."""
    films.forget_waiting(time.time() - days * _DAY_S)
    known = films.known()
    for folder in (originals.root / "films").glob("*/*"):
        if folder.name not in known:
            shutil.rmtree(folder, ignore_errors=True)
