"""One step with a film from the queue: stills first, the reading once the marks are there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from speedcal.errors import SpeedcalError
from speedcal.web.kept.film_files import FILM_FILE, keep_files
from speedcal.web.kept.film_store import FilmRow, Films
from speedcal.web.kept.originals import Originals
from speedcal.web.kept.queue import FILM, Queue, Run
from speedcal.web.settings import Limits
from speedcal.web.work.child import Child, answer_of


@dataclass(frozen=True)
class FilmWork:
    """Does what is to be done next with a film."""

    films: Films
    queue: Queue
    originals: Originals
    limits: Limits

    def do(self, run: Run, child: Child, beat: Callable[[str, float], bool]) -> None:
        """Do one step; done twice it leaves the same."""
        film = self._film(run)
        if film is None or film.step not in ("prepare", "read"):
            self.queue.finish(run, "done", {})
            return
        scratch = self.originals.scratch(run.id)
        task: dict[str, Any] = {"film": str(self.originals.film(film.job_id, film.id) / FILM_FILE), "out": str(scratch)}
        is_marked = film.step == "read"
        if is_marked:
            task |= {"dial": film.dial["table"], "version": film.version}
        name, seconds = ("film_reading", self.limits.film_seconds) if is_marked else ("film_stills", self._still_s)
        made = answer_of(child.do(name, task, cpu_s=seconds, limits=self.limits, beat=beat))
        keep_files(self.originals, film, scratch)
        self.films.change(film, **{"reading" if is_marked else "stills": made})
        self.queue.finish(run, "done", {})
        self.queue.forget_old(run.job_id, run.drive_id, keep=1)

    def fail(self, run: Run, error: SpeedcalError) -> None:
        """Keep why it did not work; with other marks it may."""
        if (film := self._film(run)) is not None:
            told = error.to_dict()
            self.films.change(film, problem={**told, "source": film.name if told["source"] else ""})
        self.queue.finish(run, "failed", {})

    @property
    def _still_s(self) -> int:
        return 3 * self.limits.look_seconds

    def _film(self, run: Run) -> FilmRow | None:
        return self.films.film(run.drive_id.removeprefix(FILM))
