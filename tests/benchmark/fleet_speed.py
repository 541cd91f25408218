"""Print what a fleet costs beside reading and calibrating its drives, and what a second process brings.

    python tests/benchmark/fleet_speed.py DRIVES --rounds 3

DRIVES is a folder of vehicles, such as fleet_drives.py makes. One process and two take turns, so that what else the
machine does meets both. What two processors give at all is told by two processes that know nothing of each other,
before, between and after: they share caches and memory, so each drive costs them more than it costs one alone. The
clock counts on an idle machine only; beside it stand processor seconds, process by process: two processes cannot be
faster than half of all that client, loading and workers take together.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import psutil  # noqa: E402 (after the threads are set)

import speedcal  # noqa: E402
from speedcal.fleet import workers as crew  # noqa: E402

_ALONE = 40
"""Drives that are read and calibrated without a fleet."""


def plain(tracks: list[Path]) -> None:
    """Read and calibrate some drives, and nothing else; one that is refused has been worked on too."""
    for track in tracks:
        with suppress(speedcal.SpeedcalError):
            speedcal.calibrate(speedcal.read_track(track), speedcal.read_readings(track.with_suffix(".csv")))


def apart(tracks: list[Path], processes: int) -> tuple[float, float]:
    """Return the seconds on the clock, and of processors, in which each of some processes has done all drives. [s]."""
    started, before = time.monotonic(), os.times()
    children = []
    for _ in range(processes):
        child = os.fork()
        if child == 0:
            plain(tracks)
            os._exit(0)
        children.append(child)
    for child in children:
        os.waitpid(child, 0)
    after = os.times()
    return time.monotonic() - started, sum(after[2:4]) - sum(before[2:4])


@dataclass
class Spent:
    """What a run of a fleet took. [s]."""

    clock: float = 0.0
    client: float = 0.0
    loading: float = 0.0
    """Of the process that the workers are copies of, and of the helper that works until they are there."""
    workers: list[float] = field(default_factory=list)

    @property
    def processors(self) -> float:
        """All of them together."""
        return self.client + self.loading + sum(self.workers)


def taken() -> dict[int, float]:
    """Return the processor seconds of all processes that this one and its children have started. [s]."""
    known = [(child.pid, child.cpu_times()) for child in psutil.Process().children(recursive=True)]
    return {pid: cpu.user + cpu.system for pid, cpu in known}


@contextmanager
def watched(spent: Spent) -> Iterator[None]:
    """Ask what each process took, before they are ended."""
    opened, before, ended = crew.own_cluster, taken(), os.times()

    @contextmanager
    def asked(processes: int) -> Iterator[Any]:
        with opened(processes) as client:
            yield client
            mine = {child.pid for child in psutil.Process().children()}
            now = {pid: cpu - before.get(pid, 0.0) for pid, cpu in taken().items()}
            spent.workers = [cpu for pid, cpu in now.items() if pid not in mine]
            helped = sum(os.times()[2:4]) - sum(ended[2:4])
            spent.loading = helped + sum(cpu for pid, cpu in now.items() if pid in mine)

    crew.own_cluster = asked
    try:
        yield
    finally:
        crew.own_cluster = opened


def run(drives: Path, processes: int) -> Spent:
    """Run the fleet and return what it took."""
    spent = Spent()
    started, before = time.monotonic(), os.times()
    with watched(spent):
        speedcal.fleet(drives, processes=processes)
    after = os.times()
    spent.clock, spent.client = time.monotonic() - started, sum(after[:2]) - sum(before[:2])
    if processes == 1:
        spent.workers = [sum(after[2:4]) - sum(before[2:4])]
    return spent


@dataclass
class Ceiling:
    """What drives take without a fleet: in one process, and in each of two at a time. [s]."""

    drives: int = 0
    clock: list[float] = field(default_factory=lambda: [0.0, 0.0])
    processors: list[float] = field(default_factory=lambda: [0.0, 0.0])

    def measure(self, tracks: list[Path]) -> None:
        """Do some drives alone and in two processes."""
        self.drives += len(tracks)
        for i in range(2):
            clock, processors = apart(tracks, i + 1)
            self.clock[i] += clock
            self.processors[i] += processors / (i + 1)

    @property
    def gain(self) -> float:
        """How much faster two are."""
        return 2 * self.clock[0] / self.clock[1]

    def each_ms(self, several: int) -> float:
        """Return what one drive takes of a processor. [ms]."""
        return 1000 * self.processors[several - 1] / self.drives


def told(turn: int, drives: int, one: Spent, two: Spent, ceiling: Ceiling) -> str:
    """Return what was found in one round."""
    workers = " + ".join(f"{cpu:.1f}" for cpu in two.workers)
    return "\n".join(
        (
            f"round {turn}, load {os.getloadavg()[0]:.1f}: {drives} drives",
            f"  two that know nothing of each other: {ceiling.gain:.2f} times one by the clock; read and calibrate "
            f"{ceiling.each_ms(1):.0f} ms of a processor each alone, {ceiling.each_ms(2):.0f} ms beside each other",
            f"  one process: {one.clock:.1f} s, of processors {one.processors:.1f} s, "
            f"{1000 * one.processors / drives / ceiling.each_ms(1):.2f} of read and calibrate",
            f"  two: {two.clock:.1f} s, of processors client {two.client:.1f} s, loading and helping "
            f"{two.loading:.1f} s, workers {workers} s, idle {2 * two.clock - two.processors:.1f} s",
            f"  so a second brings {one.clock / two.clock:.2f} by the clock, at most "
            f"{2 * one.processors / two.processors:.2f} by processor seconds",
        )
    )


def main() -> None:
    """Measure the ways in turn."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("drives", type=Path)
    parser.add_argument("--rounds", type=int, default=1)
    given = parser.parse_args()
    tracks = sorted(given.drives.rglob("*.gpx"))
    some = tracks[:: max(len(tracks) // _ALONE, 1)]
    plain(some[:2])  # what is imported once
    speedcal.fleet(some[0].parent, processes=1)
    gains, ceilings = [], []
    for turn in range(1, given.rounds + 1):
        ceiling, runs = Ceiling(), []
        for processes in (1, 2):
            ceiling.measure(some)
            runs.append(run(given.drives, processes))
        ceiling.measure(some)
        gains.append(runs[0].clock / runs[1].clock)
        ceilings.append(ceiling.gain)
        sys.stdout.write(told(turn, len(tracks), *runs, ceiling) + "\n")
        sys.stdout.flush()
    gain, whole = statistics.median(gains), statistics.median(ceilings)
    sys.stdout.write(f"median: a second process brings {gain:.2f}, of {whole:.2f} that two processors give\n")


if __name__ == "__main__":
    main()
