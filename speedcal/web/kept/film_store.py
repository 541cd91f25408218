"""Films of dials in the job store: how much has arrived, the marks, what was read."""

from __future__ import annotations

import json
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from speedcal.web.kept import schema
from speedcal.web.kept.queue import FILM
from speedcal.web.kept.store import Store, new_id

_TABLES = ("stills", "dial", "reading", "problem")


@dataclass(frozen=True, slots=True)
class FilmRow:
    """A film as it stands in the store."""

    id: str
    job_id: str
    phase: str
    created: float
    client_key: str
    name: str
    size: int
    arrived: int
    drive_id: str
    version: int
    stills: dict[str, Any]
    dial: dict[str, Any]
    reading: dict[str, Any]
    problem: dict[str, Any]
    accepted: float

    @property
    def has_arrived(self) -> bool:
        """Tell whether the film is here whole."""
        return self.arrived >= self.size

    @property
    def run_key(self) -> str:
        """What runs that work on it have in the place of a drive."""
        return FILM + self.id

    @property
    def step(self) -> str:
        """What comes next: ``send``, ``prepare``, ``mark``, ``read``, ``accept``.

        ``kept`` when all is done, ``broken`` when nothing can be done with it.
        """
        if self.accepted:
            return "kept"
        if not self.has_arrived:
            return "send"
        if not self.stills:
            return "broken" if self.problem else "prepare"
        if not self.dial or self.problem:
            return "mark"
        return "accept" if self.reading else "read"


class Films:
    """The films of the store. Every method is one transaction."""

    def __init__(self, store: Store) -> None:
        self.store = store

    def add(self, job_id: str, phase: str, *, client_key: str, name: str, size: int, drive_id: str) -> FilmRow:
        """Keep that a film is to come; the same one announced again goes on.

        Raises
        ------
        KeyError
            There is no such job (any more).
        """
        films, row = schema.films, {"phase": phase, "client_key": client_key, "name": name, "size": size}
        with self.store.writing() as connection:
            if connection.execute(sa.select(schema.jobs.c.id).where(schema.jobs.c.id == job_id)).first() is None:
                raise KeyError(job_id)
            if (found := connection.execute(_sent(job_id, phase, client_key)).mappings().first()) is None:
                made = {"id": new_id(), "job_id": job_id, "created": time.time(), "drive_id": drive_id, **row}
                found = connection.execute(films.insert().values(made).returning(*films.c)).mappings().one()
        return _film(found)

    def sent(self, job_id: str, phase: str, client_key: str) -> FilmRow | None:
        """Return the film that was announced under a key, or None."""
        return self._first(_sent(job_id, phase, client_key))

    def film(self, film_id: str) -> FilmRow | None:
        """Return a film, or None when there is none of this id."""
        return self._first(sa.select(schema.films).where(schema.films.c.id == film_id))

    def of_job(self, job_id: str, phases: Sequence[str]) -> list[FilmRow]:
        """Return the films of a job in the order they came."""
        films = schema.films
        query = sa.select(films).where(films.c.job_id == job_id, films.c.phase.in_(phases)).order_by(films.c.created)
        with self.store.reading() as connection:
            return [_film(row) for row in connection.execute(query).mappings()]

    def to_come(self) -> int:
        """Return how many bytes all films together still bring."""
        films = schema.films
        with self.store.reading() as connection:
            return int(connection.execute(sa.select(sa.func.sum(films.c.size - films.c.arrived))).scalar() or 0)

    def take(self, film: FilmRow, *, at: int, upto: int) -> FilmRow | None:
        """Note that a piece is on disk, when it is the next one; return the film as it is now."""
        films = schema.films
        with self.store.writing() as connection:
            next_one = films.update().where(films.c.id == film.id, films.c.arrived == at)
            connection.execute(next_one.values(arrived=upto))
        return self.film(film.id)

    def change(self, film: FilmRow, **values: Any) -> bool:
        """Change a film, unless somebody else changed its marks meanwhile, and tell whether that was done."""
        films = schema.films
        packed = {name: _packed(value) if name in _TABLES else value for name, value in values.items()}
        same = sa.and_(films.c.id == film.id, films.c.version == film.version)
        with self.store.writing() as connection:
            return bool(connection.execute(films.update().where(same).values(**packed)).rowcount)

    def remove(self, film: FilmRow) -> None:
        """Forget a film; its files go next."""
        with self.store.writing() as connection:
            connection.execute(schema.films.delete().where(schema.films.c.id == film.id))

    def forget_waiting(self, before: float) -> list[FilmRow]:
        """Forget films that came before a moment and whose readings nobody accepted, and return them."""
        films = schema.films
        old = sa.and_(films.c.created < before, films.c.accepted == 0)
        with self.store.writing() as connection:
            gone = connection.execute(films.delete().where(old).returning(*films.c)).mappings()
            return [_film(row) for row in gone]

    def known(self) -> set[str]:
        """Return the ids of all films."""
        with self.store.reading() as connection:
            return set(connection.execute(sa.select(schema.films.c.id)).scalars())

    def _first(self, query: sa.Select[Any]) -> FilmRow | None:
        with self.store.reading() as connection:
            row = connection.execute(query).mappings().first()
        return _film(row) if row else None


def _sent(job_id: str, phase: str, client_key: str) -> sa.Select[Any]:
    films = schema.films
    mine = (films.c.job_id == job_id, films.c.phase == phase, films.c.client_key == client_key)
    return sa.select(films).where(*mine)


def _packed(table: Mapping[str, Any]) -> str:
    return json.dumps(table, ensure_ascii=False) if table else ""


def _film(row: Mapping[str, Any] | sa.RowMapping) -> FilmRow:
    plain = {name: row[name] for name in FilmRow.__slots__ if name not in _TABLES}
    return FilmRow(**plain, **{name: json.loads(row[name]) if row[name] else {} for name in _TABLES})
