"""Print what a fleet costs beside reading and calibrating its drives, and what a second process brings.

    python tests/benchmark/fleet_speed.py DRIVES

DRIVES is a folder of vehicles, such as fleet_drives.py makes. The clock counts on an idle machine only, so processor
seconds are told too: two processes need those of the client and of the busier worker one after the other, from their
start to their end. What they take while they wait grows with the clock, so it is measured by itself and taken off.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import speedcal  # noqa: E402 (after the threads are set)
from speedcal.fleet import workers as crew  # noqa: E402 (after the threads are set)

_ALONE = 40
"""Drives that are read and calibrated without a fleet."""


def spent(work: Callable[[], object]) -> tuple[float, float]:
    """Return the seconds on the clock and those of processors, of children too. [s]."""
    before, started = os.times(), time.monotonic()
    work()
    after = os.times()
    return time.monotonic() - started, sum(after[:4]) - sum(before[:4])


def plain(drives: Path) -> int:
    """Read and calibrate some drives, and nothing else; return how many."""
    tracks = sorted(drives.rglob("*.gpx"))
    tracks = tracks[:: max(len(tracks) // _ALONE, 1)]
    for track in tracks:
        speedcal.calibrate(speedcal.read_track(track), speedcal.read_readings(track.with_suffix(".csv")))
    return len(tracks)


def waiting(seconds: float = 20.0) -> tuple[float, float]:
    """Return what the client and a worker take of a processor while there is nothing to do."""
    with crew._client(None, 2) as client:
        time.sleep(3)
        own, started = time.process_time(), time.monotonic()
        before = client.run(time.process_time)
        time.sleep(seconds)
        after = client.run(time.process_time)
        clock = time.monotonic() - started
        return (time.process_time() - own) / clock, max(after[name] - before[name] for name in after) / clock


@contextmanager
def counted() -> Iterator[list[float]]:
    """Give the processor seconds of every worker, asked for as their work ends."""
    seconds: list[float] = []
    opened = crew._client

    @contextmanager
    def asked(scheduler: str | None, processes: int) -> Iterator[Any]:
        with opened(scheduler, processes) as client:
            yield client
            seconds.extend(client.run(time.process_time).values())

    crew._client = asked
    try:
        yield seconds
    finally:
        crew._client = opened


def main() -> None:
    """Measure the three ways one after the other."""
    drives = Path(sys.argv[1])
    count = len(list(drives.rglob("*.gpx")))
    first = next(drives.rglob("*.gpx")).parent
    plain(first)  # what is imported once
    speedcal.fleet(first, processes=1)
    alone: list[int] = []
    _, base = spent(lambda: alone.append(plain(drives)))
    base *= count / alone[0]
    clock_one, one = spent(lambda: speedcal.fleet(drives, processes=1))
    idle = waiting()
    own = time.process_time()
    with counted() as seconds:
        clock_two, _ = spent(lambda: speedcal.fleet(drives, processes=2))
    client = time.process_time() - own - idle[0] * clock_two
    workers = [value - idle[1] * clock_two for value in sorted(seconds)]
    for line in (
        f"{count} drives; read and calibrate: {1000 * base / count:.0f} ms a drive",
        f"fleet, one process: {one:.1f} s, {one / base:.2f} of that",
        f"fleet, two processes: client {client:.1f} s, workers {' and '.join(f'{w:.1f}' for w in workers)} s",
        f"a second process brings, by processor seconds: {one / (client + workers[-1]):.2f}",
        f"by the clock, at a load of {os.getloadavg()[0]:.1f}: {clock_one:.1f} s, {clock_two:.1f} s, "
        f"{clock_one / clock_two:.2f}",
    ):
        sys.stdout.write(f"{line}\n")


if __name__ == "__main__":
    main()
