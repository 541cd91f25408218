"""Print how long `calibrate` and reading take next to gpxpy parsing the same GPX, and how the cost grows.

python tests/benchmark/speed.py
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import gpxpy  # noqa: E402 (after the threads are set)

import speedcal  # noqa: E402
from speedcal.simulate import KINDS, Drive, simulate  # noqa: E402
from speedcal.simulate.files import render_gpx  # noqa: E402

CASES = {
    "an hour at 1 Hz with an hour's log": ("logged", {}),
    "the same from positions only": ("positions only", {}),
    "an hour at 1 Hz, 40 readings, zone and date unknown": ("zone unknown", {"count": (40, 40)}),
    "an hour at 1 Hz, 40 readings, stopwatch": ("elapsed", {"count": (40, 40)}),
    "an hour at 1 Hz, 40 readings, whole minutes": ("whole minutes", {"count": (40, 40)}),
}
SIZES = (10_000, 100_000, 1_000_000)


def best_of(n: int, work: Callable[[], object]) -> float:
    """Return the shortest of n times. [s]."""
    times = []
    for _ in range(n):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def against_parsing(drive: Drive, *, repeats: int = 5) -> tuple[float, float]:
    """Return how long calibrate and how long gpxpy take for one drive. [s]."""
    text = render_gpx(drive.track)
    speedcal.calibrate(drive.track, drive.readings)  # imports are not counted, for either
    return (
        best_of(repeats, lambda: speedcal.calibrate(drive.track, drive.readings)),
        best_of(repeats, lambda: gpxpy.parse(text)),
    )


def reading(path: Path, *, repeats: int = 5) -> tuple[float, float]:
    """Return how long our reader and gpxpy take from one file to its points. [s]."""
    speedcal.read_track(path)  # imports are not counted, for either
    return (
        best_of(repeats, lambda: speedcal.read_track(path)),
        best_of(repeats, lambda: gpxpy.parse(path.read_text(encoding="utf-8"))),
    )


def case(name: str) -> Drive:
    """Return the hour-long drive of one case."""
    kind, changes = CASES[name]
    return simulate(replace(KINDS[kind], **changes), 1, minutes=60)


def growth(kind: str, fixes: int, *, repeats: int = 1) -> float:
    """Return how long calibrate takes for a drive of so many fixes, a second apart, with 40 readings or a log. [s]."""
    drive = simulate(replace(KINDS[kind], count=(40, 40)), 1, minutes=fixes / 60)
    return best_of(repeats, lambda: speedcal.calibrate(drive.track, drive.readings))


def main() -> None:
    """Print the tables."""
    print("| drive | calibrate ms | gpxpy parse ms | ratio |\n|---|---:|---:|---:|")  # noqa: T201 (a command)
    for name in CASES:
        ours, theirs = against_parsing(case(name))
        print(f"| {name} | {1000 * ours:.0f} | {1000 * theirs:.0f} | {ours / theirs:.2f} |")  # noqa: T201
    print("\n| file | read ms | gpxpy parse ms | ratio |\n|---|---:|---:|---:|")  # noqa: T201
    with tempfile.TemporaryDirectory() as folder:
        for name in CASES:
            path = Path(folder, "drive.gpx")
            path.write_text(render_gpx(case(name).track), encoding="utf-8")
            ours, theirs = reading(path)
            print(f"| {name} | {1000 * ours:.0f} | {1000 * theirs:.0f} | {ours / theirs:.2f} |")  # noqa: T201
    print("\n| fixes | " + " | ".join(f"{n:,}" for n in SIZES) + " |\n|---" + "|---:" * len(SIZES) + "|")  # noqa: T201
    for kind in ("logged", "noted", "zone unknown"):
        seconds = [growth(kind, n) for n in SIZES]
        print(f"| {kind}, s | " + " | ".join(f"{s:.2f}" for s in seconds) + " |")  # noqa: T201


if __name__ == "__main__":
    main()
