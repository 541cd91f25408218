"""Works the queue off: takes a run, has a worker process do it, keeps what came of it."""

from __future__ import annotations

import logging
import os
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy.exc import DBAPIError

from speedcal.errors import SpeedcalError
from speedcal.web.answers import busy
from speedcal.web.kept.basis import has_basis
from speedcal.web.kept.film_store import Films
from speedcal.web.kept.folder import PHASES, job_files, lay_out
from speedcal.web.kept.originals import Originals
from speedcal.web.kept.queue import ATTEMPTS, FILM, Queue, Run
from speedcal.web.kept.rows import DriveRow, JobRow
from speedcal.web.kept.store import Store, new_id
from speedcal.web.logbook import place_of
from speedcal.web.settings import Limits
from speedcal.web.work.child import AbandonedError, Child, LostError, answer_of
from speedcal.web.work.film_run import FilmWork
from speedcal.web.work.look_task import drive_name, look_task
from speedcal.wording import words

log = logging.getLogger("speedcal.web")
_POLL_S = 1.0
_WAIT_FOR_STORE_S = 3.0
_WAIT_FOR_PLACE_S = 0.5
_SILENT_S = 90.0
"""A thread that showed no sign of life for this long hangs."""


class Runner:
    """Threads that each keep one worker process warm and have it do one run after the other."""

    def __init__(self, store: Store, queue: Queue, originals: Originals, limits: Limits, *, workers: int) -> None:
        self.store, self.queue, self.originals, self.limits = store, queue, originals, limits
        self.films = FilmWork(Films(store), queue, originals, limits)
        self.name = f"{socket.gethostname()[:20]}-{os.getpid()}-{new_id()[:6]}"
        self._stop, self._work = threading.Event(), threading.Event()
        self._at_once = threading.Semaphore(2)
        owners = [f"{self.name}-{n}" for n in range(workers)]
        self._threads = [threading.Thread(target=self._serve, args=(owner,), daemon=True) for owner in owners]
        self._signs = dict.fromkeys(owners, time.monotonic())

    def start(self) -> None:
        """Start the threads."""
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """End the threads and their worker processes; what they were at is taken up again later."""
        self._stop.set()
        self._work.set()
        for thread in self._threads:
            thread.join(timeout=10)

    @property
    def is_working(self) -> bool:
        """Tell whether every thread is there and has shown a sign of life lately."""
        now = time.monotonic()
        return all(thread.is_alive() for thread in self._threads) and all(
            now - seen < _SILENT_S for seen in self._signs.values()
        )

    def wake(self) -> None:
        """Say that there is something to do."""
        self._work.set()

    def once(self, name: str, task: dict[str, Any]) -> dict[str, Any]:
        """Do a short task in a worker process while the caller waits; what it has against its input is raised."""
        with self.place():
            child = Child(is_warm=False)
            try:
                return answer_of(child.do(name, task, cpu_s=self.limits.look_seconds, limits=self.limits))
            except LostError as error:
                raise _lost() from error
            finally:
                child.stop()

    @contextmanager
    def place(self) -> Iterator[None]:
        """Give a request that works hard one of two places; waiting for one does not take the threads of others."""
        if not self._at_once.acquire(timeout=_WAIT_FOR_PLACE_S):
            raise busy("documents_busy")
        try:
            yield
        finally:
            self._at_once.release()

    def _serve(self, owner: str) -> None:
        child: Child | None = None
        try:
            while not self._stop.is_set():
                self._signs[owner] = time.monotonic()
                try:
                    child = _alive(child)
                    run = self.queue.claim(owner)
                    if run is None:
                        self._work.wait(_POLL_S)
                        self._work.clear()
                        continue
                    self._do(run, child)
                except (DBAPIError, OSError) as error:
                    log.warning("store or disk not available: %s", type(error).__name__)
                    self._stop.wait(_WAIT_FOR_STORE_S)
                except Exception as error:  # one run must not cost the service its worker; the run is tried again
                    log.error("worker broke: %s", place_of(error))
        finally:
            if child:
                child.stop()

    def _do(self, run: Run, child: Child) -> None:
        started = time.monotonic()
        try:
            if run.attempts > ATTEMPTS:
                raise _lost()
            job = self.store.job(run.job_id)
            if job is None:
                return
            if run.drive_id.startswith(FILM):
                self.films.do(run, child, self._beat(run))
            elif run.drive_id:
                self._look(run, job, child)
            else:
                self._run_job(run, job, child)
        except SpeedcalError as error:
            self._fail(run, error)
        except LostError as error:
            log.warning("worker lost in try %d: %s", run.attempts, error, extra=_told_as(run))
            if run.attempts >= ATTEMPTS:
                self._fail(run, _lost())
        except AbandonedError:
            log.info("run given up", extra=_told_as(run))
        finally:
            self.originals.remove_scratch(run.id)
            kind = "film" if run.drive_id.startswith(FILM) else "look" if run.drive_id else "job"
            log.info("%s, try %d, %.1f s", kind, run.attempts, time.monotonic() - started, extra=_told_as(run))

    def _beat(self, run: Run) -> Callable[[str, float], bool]:
        def beat(step: str, part: float) -> bool:
            self._signs[run.owner] = time.monotonic()
            return not self._stop.is_set() and self.queue.beat(run, step=step, part=part)

        return beat

    def _look(self, run: Run, job: JobRow, child: Child) -> None:
        drive = self.store.drive(run.drive_id)
        if drive is None:
            self.queue.finish(run, "failed", {})
            return
        scratch = self.originals.scratch(run.id)
        task = look_task(job, drive, self.originals, scratch, self.limits)
        others = [d for d in self.store.drives(job.id) if d.is_usable and d.phase == drive.phase and d.id != drive.id]
        task["others"] = [{"name": drive_name(d), "span": d.look["span"]} for d in others if d.look and d.look["span"]]
        look = answer_of(
            child.do("look", task, cpu_s=self.limits.look_seconds, limits=self.limits, beat=self._beat(run))
        )
        if look["picture"]:
            self.originals.keep_result(run.job_id, run.id, scratch / "out")
        if not self.queue.finish_look(run, drive.version, look):
            self.originals.remove_result(run.job_id, run.id)
            self._look_again(run)
        for old in self.queue.forget_old(run.job_id, run.drive_id, keep=1):
            self.originals.remove_result(run.job_id, old)
        self.wake()

    def _look_again(self, run: Run) -> None:
        drive = self.store.drive(run.drive_id)
        if drive is not None and drive.look is None:
            self.queue.put(run.job_id, run.drive_id)

    def ask_for_result(self, job_id: str) -> None:
        """Queue the analysis of a job that has something to analyse."""
        job, drives = self.store.job(job_id), self.store.drives(job_id)
        if any(drive.is_forgotten for drive in drives):
            return  # its result stays as it is
        if job is not None and has_basis(job, drives):
            self.queue.put(job_id)
            self.wake()

    def look_again_at_doubles(self, job_id: str) -> None:
        """Have the drives looked at again that were refused for another one, which may have gone."""
        for drive in self.store.drives(job_id):
            if drive.look and any(error["part"] == "twice" for error in drive.look["errors"]):
                self.queue.put(job_id, drive.id)

    def look_again_at_checks(self, job_id: str) -> None:
        """Have checks looked at again: what engine speed says of the true speed hangs on the facts of the vehicle."""
        for drive in self.store.drives(job_id):
            if drive.is_checks:
                self.queue.put(job_id, drive.id)

    def _run_job(self, run: Run, job: JobRow, child: Child) -> None:
        drives = [drive for drive in self.store.drives(job.id) if drive.is_usable and not drive.is_forgotten]
        if not has_basis(job, drives):
            self.queue.finish(run, "failed", {})
            return
        scratch = self.originals.scratch(run.id)
        folder = lay_out(scratch / "job", job_files(job, drives, self.originals))
        (scratch / "out").mkdir()
        task = {"folder": str(folder), "out": str(scratch / "out")}
        answer = child.do("job", task, cpu_s=self.limits.run_seconds, limits=self.limits, beat=self._beat(run))
        if "error" in answer:
            answer["error"] = self._by_name(answer["error"], drives)
            if self._refuse_double(run, answer["error"], drives):
                return
        said = answer_of(answer)
        self.originals.keep_result(run.job_id, run.id, scratch / "out")
        if not self.queue.finish(run, "done", said):
            self.originals.remove_result(run.job_id, run.id)
            return
        for old in self.queue.forget_old(job.id):
            self.originals.remove_result(job.id, old)

    @staticmethod
    def _by_name(told: dict[str, Any], drives: list[DriveRow]) -> dict[str, Any]:
        """Return an error with the drives called by their files and days, not by their places in the job file."""
        names = {place: drive_name(drive) for place, drive in _places(drives).items()}
        values = {k: names.get(v, v) if isinstance(v, str) else v for k, v in told["values"].items()}
        if told.get("problems") or values == told["values"]:
            return told
        text, remedy = words().refusal(told["error"], values)
        return {**told, "text": text, "remedy": remedy}

    def _refuse_double(self, run: Run, told: dict[str, Any], drives: list[DriveRow]) -> bool:
        """Take the later of two drives that are one out of the reckoning, and reckon again without it."""
        places = _places(drives)
        pair = [places[name] for name in (told["values"].get("first"), told["values"].get("second")) if name in places]
        if told["error"] not in ("duplicate_drive", "drives_at_once", "readings_used_twice") or len(pair) < 2:
            return False
        later = max(pair, key=lambda drive: drive.created)
        look = {**(later.look or {}), "errors": [{**told, "part": "twice"}]}
        kept = self.queue.finish_refused(run, later, look)
        self.wake()
        return kept

    def _fail(self, run: Run, error: SpeedcalError) -> None:
        if run.drive_id.startswith(FILM):
            self.films.fail(run, error)
        elif run.drive_id:
            drive = self.store.drive(run.drive_id)
            told = {**error.to_dict(), "part": "match"}
            look = {"track": None, "readings": None, "fit": None, "errors": [told], "picture": ""}
            self.queue.finish_look(run, drive.version if drive else 0, look)
        else:
            self.queue.finish(run, "failed", error.to_dict())


def _alive(child: Child | None) -> Child:
    """Return a worker process that is there; what is left of one that has ended is put away."""
    if child and child.is_alive:
        return child
    if child:
        child.stop()
    return Child()


def _places(drives: list[DriveRow]) -> dict[str, DriveRow]:
    """Return the drives of a job by what the analysis of its folder calls them."""
    places: dict[str, DriveRow] = {}
    for phase in PHASES:
        own = [drive for drive in drives if drive.phase == phase]
        places |= {phase if len(own) == 1 else f"{phase} {n}": drive for n, drive in enumerate(own, start=1)}
    return places


def _told_as(run: Run) -> dict[str, str]:
    """Return what the log says of a run."""
    return {"job": run.job_id, "role": "worker", "run": run.id}


def _lost() -> SpeedcalError:
    return SpeedcalError("analysis_lost")
