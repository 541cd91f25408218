"""Print what a fleet costs beside reading and calibrating its drives, and what a second process brings.

    python tests/benchmark/fleet_speed.py DRIVES

DRIVES is a folder of vehicles, such as fleet_drives.py makes. A busy machine tells nothing by its clock, so what counts
are processor seconds: two processes are taken to need half of all of them, or those of the busier worker and of the
client one after the other, whichever is more. What the processes take while they wait grows with the clock, so it is
measured by itself and taken off.
"""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import psutil  # noqa: E402 (after the threads are set)

import speedcal  # noqa: E402 (after the threads are set)
from speedcal.fleet import workers as crew  # noqa: E402 (after the threads are set)


def spent(work: Callable[[], object]) -> tuple[float, float]:
    """Return the seconds on the clock and those of processors, of children too. [s]."""
    before, started = os.times(), time.monotonic()
    work()
    after = os.times()
    return time.monotonic() - started, sum(after[:4]) - sum(before[:4])


def plain(drives: Path) -> None:
    """Read and calibrate every drive, and nothing else."""
    for track in sorted(drives.rglob("*.gpx")):
        speedcal.calibrate(speedcal.read_track(track), speedcal.read_readings(track.with_suffix(".csv")))


def waiting(seconds: float = 20.0) -> tuple[float, float]:
    """Return what the client and a worker take of a processor while there is nothing to do."""
    with crew._client(None, 2):
        several = [psutil.Process(), *psutil.Process().children(recursive=True)]
        time.sleep(3)
        before = [sum(one.cpu_times()[:2]) for one in several]
        started = time.monotonic()
        time.sleep(seconds)
        rates = [
            (sum(one.cpu_times()[:2]) - b) / (time.monotonic() - started)
            for one, b in zip(several, before, strict=True)
        ]
    return rates[0], max(rates[1:])


@contextmanager
def watched() -> Iterator[dict[int, float]]:
    """Give the processor seconds of every child process while it lives, by its number."""
    seconds: dict[int, float] = {}
    done = threading.Event()

    def watch() -> None:
        while not done.wait(1.0):
            for child in psutil.Process().children(recursive=True):
                try:
                    seconds[child.pid] = sum(child.cpu_times()[:2])
                except psutil.Error:
                    continue

    thread = threading.Thread(target=watch)
    thread.start()
    try:
        yield seconds
    finally:
        done.set()
        thread.join()


def main() -> None:
    """Measure the three ways one after the other."""
    drives = Path(sys.argv[1])
    count = len(list(drives.rglob("*.gpx")))
    first = next(drives.rglob("*.gpx")).parent
    plain(first)  # what is imported once
    speedcal.fleet(first, processes=1)
    _, base = spent(lambda: plain(drives))
    _, one = spent(lambda: speedcal.fleet(drives, processes=1))
    idle = waiting()
    own = time.process_time()
    with watched() as seconds:
        clock, two = spent(lambda: speedcal.fleet(drives, processes=2))
    client = time.process_time() - own - idle[0] * clock
    workers = [value - idle[1] * clock for value in sorted(seconds.values())[-2:]]
    two -= (idle[0] + 2 * idle[1]) * clock
    needed = max(two / 2, client + workers[-1])
    for line in (
        f"read and calibrate: {base:.1f} s, {1000 * base / count:.0f} ms a drive",
        f"fleet, one process: {one:.1f} s, {one / base:.2f} of that",
        f"fleet, two processes: {two:.1f} s in all, client {client:.1f}, workers {workers[0]:.1f} and {workers[1]:.1f}",
        f"a second process brings: {one / needed:.2f}",
    ):
        sys.stdout.write(f"{line}\n")


if __name__ == "__main__":
    main()
