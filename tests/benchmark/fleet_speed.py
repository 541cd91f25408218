"""Print what a fleet costs beside reading and calibrating its drives, and what a second process brings.

    python tests/benchmark/fleet_speed.py DRIVES

DRIVES is a folder of vehicles, such as fleet_drives.py makes. On a busy machine look at the processor seconds: what two
processes bring on an idle one is twice the first over the second.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import speedcal  # noqa: E402 (after the threads are set)


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


def main() -> None:
    """Measure the three ways one after the other."""
    drives = Path(sys.argv[1])
    count = len(list(drives.rglob("*.gpx")))
    first = next(drives.rglob("*.gpx")).parent
    plain(first)  # what is imported once
    speedcal.fleet(first, processes=1)
    ways = {
        "read and calibrate": lambda: plain(drives),
        "fleet, one process": lambda: speedcal.fleet(drives, processes=1),
        "fleet, two processes": lambda: speedcal.fleet(drives, processes=2),
    }
    base = 0.0
    for name, work in ways.items():
        clock, cpu = spent(work)
        base = base or cpu
        sys.stdout.write(
            f"{name}: {clock:.1f} s, {cpu:.1f} processor seconds, {1000 * cpu / count:.0f} ms a drive, "
            f"{cpu / base:.2f} of reading and calibrating\n"
        )


if __name__ == "__main__":
    main()
