"""Print what a fleet costs beside reading and calibrating its drives, and what a second process brings.

    python tests/benchmark/fleet_speed.py DRIVES --rounds 3

DRIVES is a folder of vehicles, such as fleet_drives.py makes. One process and two take turns, so that what else the
machine does meets both. What two processors give at all is told by two processes that know nothing of each other: they
share caches and memory, so it is less than twice. The clock counts on an idle machine only; beside it stand processor
seconds: two processes cannot be faster than half of all that client, loading and workers take together.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
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
    """Read and calibrate some drives, and nothing else."""
    for track in tracks:
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
    others: float = 0.0
    """Of processors, of all that it started."""


@contextmanager
def watched(spent: Spent) -> Iterator[None]:
    """Ask what the workers and the process they are copies of took, before they are ended."""
    opened = crew.own_cluster

    @contextmanager
    def asked(processes: int) -> Iterator[Any]:
        with opened(processes) as client:
            yield client
            known = [child.cpu_times() for child in psutil.Process().children(recursive=True)]
            spent.others = sum(cpu.user + cpu.system for cpu in known)

    crew.own_cluster = asked
    try:
        yield
    finally:
        crew.own_cluster = opened


def run(drives: Path, processes: int) -> Spent:
    """Run the fleet and return what it took."""
    spent = Spent()
    started, own = time.monotonic(), time.process_time()
    with watched(spent):
        speedcal.fleet(drives, processes=processes)
    spent.clock, spent.client = time.monotonic() - started, time.process_time() - own
    return spent


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
    clocks, ones, twos = [], [], []
    for turn in range(given.rounds):
        clocks.append((apart(some, 1), apart(some, 2)))
        ones.append(run(given.drives, 1))
        twos.append(run(given.drives, 2))
        (one, cpu), (two, _) = clocks[-1]
        base = cpu / len(some) * len(tracks)
        told = (
            f"round {turn + 1}, load {os.getloadavg()[0]:.1f}: {len(tracks)} drives; read and calibrate "
            f"{1000 * base / len(tracks):.0f} ms each",
            f"  two that know nothing of each other: {2 * one / two:.2f} times one",
            f"  one process: {ones[-1].clock:.1f} s, of processors {ones[-1].client:.1f} s, "
            f"{ones[-1].client / base:.2f} of read and calibrate",
            f"  two: {twos[-1].clock:.1f} s, of processors client {twos[-1].client:.1f} s, others "
            f"{twos[-1].others:.1f} s, idle {2 * twos[-1].clock - twos[-1].client - twos[-1].others:.1f} s",
            f"  so a second brings {ones[-1].clock / twos[-1].clock:.2f} by the clock, at most "
            f"{2 * ones[-1].client / (twos[-1].client + twos[-1].others):.2f} by processor seconds",
        )
        sys.stdout.write("\n".join(told) + "\n")
        sys.stdout.flush()
    gain = statistics.median(one.clock / two.clock for one, two in zip(ones, twos, strict=True))
    whole = statistics.median(2 * one[0] / two[0] for one, two in clocks)
    sys.stdout.write(f"median: a second process brings {gain:.2f}, of {whole:.2f} that two processors give\n")


if __name__ == "__main__":
    main()
