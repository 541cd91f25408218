"""The parent's side of a worker process: start it ahead of time, give it a task, never wait for ever."""

from __future__ import annotations

import contextlib
import json
import logging
import os
import queue
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping
from typing import IO, Any, NoReturn

from speedcal.errors import SpeedcalError
from speedcal.web.settings import Limits

log = logging.getLogger("speedcal.web")
_LONGEST_LINE = 8 * 1024 * 1024
_BEAT_S = 2.0
_SIGXCPU = 24
_PASSED_ON = ("PATH", "HOME", "LANG", "LC_ALL", "TZ", "TMPDIR", "VIRTUAL_ENV", "PYTHONPATH")
_PASSED_ON_ON_WINDOWS = ("SYSTEMROOT", "USERPROFILE", "TEMP", "TMP")


class LostError(Exception):
    """The worker process ended without an answer."""


class ToldError(SpeedcalError):
    """What a worker process refused, in its own words."""

    def __init__(self, told: Mapping[str, Any]) -> None:
        super().__init__(str(told["error"]), source=str(told["source"]), line=told["line"])
        self.told = dict(told)

    def to_dict(self) -> dict[str, Any]:
        """Return the parts as they were told."""
        return self.told


class AbandonedError(Exception):
    """Nobody wants the answer any more."""


class Child:
    """One worker process that has each task done in a fork of itself.

    A warm one has the heavy libraries loaded before its task comes. It goes on after a task that was answered; after
    any other it is ended, with what it forked.
    """

    def __init__(self, *, is_warm: bool = True) -> None:
        environment = {name: os.environ[name] for name in (*_PASSED_ON, *_PASSED_ON_ON_WINDOWS) if name in os.environ}
        environment |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MPLBACKEND": "agg"}
        self.process = subprocess.Popen(  # noqa: S603 - our own module, no user text
            [sys.executable, "-P", "-m", "speedcal.web.work.worker", "warm" if is_warm else "cold"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=environment,
            start_new_session=True,
        )
        self._lines: queue.Queue[dict[str, Any] | None] = queue.Queue()
        threading.Thread(target=self._listen, args=(self.process.stdout,), daemon=True).start()

    def _listen(self, stream: IO[bytes]) -> None:
        try:
            while line := stream.readline(_LONGEST_LINE):
                self._lines.put(json.loads(line))
        except (ValueError, OSError):
            pass
        else:
            self.process.wait()  # who hears of the end finds it ended, and gives it no other task
        self._lines.put(None)

    @property
    def is_alive(self) -> bool:
        """Tell whether the process is still there to take its task."""
        return self.process.poll() is None

    def do(
        self,
        name: str,
        task: Mapping[str, Any],
        *,
        cpu_s: int,
        limits: Limits,
        beat: Callable[[str, float], bool] = lambda _step, _part: True,
    ) -> dict[str, Any]:
        """Give the process a task and return the answer.

        Parameters
        ----------
        name, task
            Key of ``speedcal.web.work.worker.TASKS`` and what it gets.
        cpu_s
            Processor time; twice that may pass on the clock. [s]
        limits
            Memory and file limits.
        beat
            Called every two seconds and at every step; False gives the task up.

        Raises
        ------
        LostError
            The process ended without an answer.
        AbandonedError
            ``beat`` said so.
        SpeedcalError
            It took too long.
        """
        answered = False
        bounds = {"cpu_s": cpu_s, "memory_bytes": limits.worker_bytes, "written_bytes": limits.written_bytes}
        deadline = time.monotonic() + 2 * cpu_s + 10
        try:
            self._send(json.dumps({"name": name, "limits": bounds, **task}))
            message = self._answer(deadline, beat, cpu_s)
            answered = True
            return message
        finally:
            if not answered:
                self.stop()

    def _send(self, line: str) -> None:
        stream = self.process.stdin
        assert stream is not None  # noqa: S101 - it was asked for as a pipe
        try:
            stream.write(line.encode() + b"\n")
            stream.flush()
        except OSError:
            raise LostError("ended before its task") from None

    def _answer(self, deadline: float, beat: Callable[[str, float], bool], cpu_s: int) -> dict[str, Any]:
        step, part = "", 0.0
        answer: dict[str, Any] | None = None
        while True:
            try:
                message = self._lines.get(timeout=_BEAT_S)
            except queue.Empty:
                message = {}
            if message is None or "ended" in message:
                return answer or self._explain_end(message, cpu_s)
            if "done" in message or "error" in message:
                answer = message
            elif "step" in message:
                step, part = str(message["step"]), float(message["part"])
            if time.monotonic() > deadline:
                raise too_long(cpu_s)
            if not beat(step, part):
                raise AbandonedError

    def _explain_end(self, message: Mapping[str, Any] | None, cpu_s: int) -> NoReturn:
        code = message["ended"] if message else self.process.wait()
        if code == -_SIGXCPU:
            raise too_long(cpu_s)
        raise LostError(f"ended with status {code}")

    def stop(self) -> None:
        """End the process and what it forked."""
        if os.name == "nt":
            self.process.kill()
        else:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()
        for stream in (self.process.stdin, self.process.stdout):
            if stream:
                with contextlib.suppress(OSError):
                    stream.close()


def answer_of(message: dict[str, Any]) -> dict[str, Any]:
    """Return what a worker process answered; what it had to say against its input is raised."""
    if "broke" in message:
        log.error("analysis broke: %s", message["broke"])
    if "error" in message:
        raise ToldError(message["error"])
    done: dict[str, Any] = message["done"]
    return done


def too_long(seconds: int) -> SpeedcalError:
    """Return the message for a task that was stopped by the clock."""
    return SpeedcalError("took_too_long", seconds=seconds)
