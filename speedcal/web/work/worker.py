"""A process of its own for each file that comes from a stranger and for each analysis, with limits set by the system.

Started as ``python -m speedcal.web.work.worker``: it loads the heavy libraries, says that it is ready, takes tasks as
lines of JSON on standard input, and forks for each a process that answers in lines of JSON on standard output. How
that process ended is told after it. Whatever a hostile file does to it, the service loses one process. Where nothing
can be forked (Windows) the process does one task itself and ends.
"""

from __future__ import annotations

import importlib
import json
import os
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, TextIO

from speedcal.errors import SpeedcalError
from speedcal.text.codes.job_messages import step_name
from speedcal.web.logbook import place_of
from speedcal.web.settings import Limits

Tell = Callable[[str, float], None]

_HEAVY = (
    "numpy",
    "pandas",
    "scipy.optimize",
    "scipy.special",
    "matplotlib.figure",
    "speedcal.logs",
    "speedcal.calibration",
    "speedcal.jobs",
)


def set_limits(*, cpu_s: int, memory_bytes: int, written_bytes: int) -> None:
    """Limit this process: processor time from now on [s], address space and the largest file written [bytes]."""
    try:
        import resource
    except ImportError:  # not on Windows; the clock of the parent still ends the process there
        return
    used = resource.getrusage(resource.RUSAGE_SELF)
    seconds = int(used.ru_utime + used.ru_stime) + 1 + cpu_s
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 5))
    resource.setrlimit(resource.RLIMIT_AS, (memory_bytes, memory_bytes))
    resource.setrlimit(resource.RLIMIT_FSIZE, (written_bytes, written_bytes))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def run_job_folder(task: Mapping[str, Any], tell: Tell) -> dict[str, Any]:
    """Run a job folder exactly as ``speedcal report`` does, write its files and return its words for the pages."""
    from speedcal.jobs import load_job
    from speedcal.text.pages.report_of_dial import ODOMETER_NOT_READ

    job = load_job(Path(task["folder"]) / "job.toml")
    result = job.run(progress=lambda step, part: tell(step, 0.8 * part))
    tell(step_name("report"), 0.8)
    result.write(Path(task["out"]))
    said, pictures = result.model, result.pictures
    for name, picture in (("narrow.svg", pictures.narrow), ("wide.svg", pictures.wide)):
        (Path(task["out"]) / name).write_bytes(picture)
    return {
        "sentence": said.sentence,
        "cause": _whole(said.cause),
        "warnings": list(map(_whole, said.warnings)),
        "compliance": _whole(said.verdict.sentence) if said.verdict else "",
        "done": list(map(_whole, said.done)),
        "otherwise": list(map(_whole, said.verdict.otherwise)) if said.verdict else [],
        "low": list(map(_whole, said.low)),
        "odometer": [line for line in said.odometer if line != ODOMETER_NOT_READ],
        "picture_text": said.picture_text,
        "next_heading": said.next_heading,
        "next_steps": list(map(_whole, said.next_steps)),
        "notes": list(map(_whole, said.depth.notes)) if said.depth else [],
        "has_card": bool(said.card),
        "verdict": result.verification.verdict if result.verification else "",
    }


def _whole(text: str) -> str:
    """Return a text in which no number is parted from its sign at the end of a line."""
    return text.replace(" %", "\u00a0%")


def look_at_drive(task: Mapping[str, Any], tell: Tell) -> dict[str, Any]:
    """Tell what the files of one drive are; see :func:`speedcal.web.work.look.look`."""
    from speedcal.web.work.look import look

    return look(task, tell)


def unpack_folder(task: Mapping[str, Any], _tell: Tell) -> dict[str, Any]:
    """Unpack a zipped job folder; see :func:`speedcal.web.kept.folder.unpack`."""
    from speedcal.web.kept.folder import unpack

    limits = Limits(zip_entries=task["most_entries"], zip_unpacked_bytes=task["most_bytes"])
    return unpack(Path(task["zip"]), Path(task["out"]), limits)


def draw_sheet(task: Mapping[str, Any], _tell: Tell) -> dict[str, Any]:
    """Draw the sheet for the road test; see :func:`speedcal.web.work.sheet.write_sheet`."""
    from speedcal.web.work.sheet import write_sheet

    return write_sheet(task)


def work_on_film(task: Mapping[str, Any], tell: Tell) -> dict[str, Any]:
    """Do one step with a film; see :mod:`speedcal.web.work.film_task`."""
    from speedcal.web.work import film_task

    step: Callable[[Mapping[str, Any], Tell], dict[str, Any]] = getattr(film_task, task["name"])
    return step(task, tell)


TASKS: dict[str, Callable[[Mapping[str, Any], Tell], dict[str, Any]]] = {
    "job": run_job_folder,
    "look": look_at_drive,
    "unpack": unpack_folder,
    "sheet": draw_sheet,
    **dict.fromkeys(("film_stills", "film_dial", "film_reading"), work_on_film),
}


def answer(line: str, out: TextIO) -> None:
    """Do one task and write the answer."""
    task = json.loads(line)

    def say(message: Mapping[str, Any]) -> None:
        out.write(json.dumps(message, default=str) + "\n")
        out.flush()

    limits = task["limits"]
    set_limits(cpu_s=limits["cpu_s"], memory_bytes=limits["memory_bytes"], written_bytes=limits["written_bytes"])
    try:
        say({"done": TASKS[task["name"]](task, lambda step, part: say({"step": step, "part": part}))})
    except SpeedcalError as error:
        say({"error": (error if task["name"] == "unpack" else error.for_form()).to_dict()})
    except MemoryError:
        say({"error": _told("too_much_memory")})
    except Exception as error:  # the parent tells the user; where it broke is for the log
        say({"error": _told("analysis_broke"), "broke": place_of(error)})


def _told(code: str) -> dict[str, Any]:
    return SpeedcalError(code).to_dict()


def main() -> None:
    """Do one task after the other, each in a process of its own."""
    out = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)  # a stray print must not reach the protocol
    for name in _HEAVY if "warm" in sys.argv[1:] else ():
        importlib.import_module(name)
    out.write('{"ready": true}\n')
    out.flush()
    if not hasattr(os, "fork"):
        if line := sys.stdin.readline():
            answer(line, out)
        return
    while line := sys.stdin.readline():
        pid = os.fork()
        if not pid:
            try:
                answer(line, out)
            finally:
                os._exit(1)  # nothing of the parent is cleaned up twice
        _, status = os.waitpid(pid, 0)
        out.write(json.dumps({"ended": os.waitstatus_to_exitcode(status)}) + "\n")
        out.flush()


if __name__ == "__main__":
    main()
