"""Print who is listed of 500 vehicles with 2,000 simulated drives, 60 wrong and 40 changed, and what it costs.

    python tests/benchmark/fleet_drives.py FOLDER --vehicles 500 --seed 7

A run that is stopped goes on where it was, with the drives as with their outcomes.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
sys.path.insert(0, str(Path(__file__).parents[1]))

from support.fleets import DAY_S, FIRST_DAY_S, LOGGED, NOTED, drive_on, write_pair  # noqa: E402 (after the path is set)

import speedcal  # noqa: E402
from speedcal.fleet import FleetResult, FleetRow  # noqa: E402

DRIVES, SPAN_DAYS, MINUTES = 4, 120.0, 8.0
TIRES_U = 0.002
"""Standard deviation of what pressure and load do to a factor from day to day."""
SPREAD = 0.003
"""Half width of the factors of vehicles that are right."""
ODOMETER_M_A_DAY = 2e5


@dataclass(frozen=True)
class Made:
    """The truth of one vehicle."""

    name: str
    logged: bool
    factors: tuple[float, ...]
    days: tuple[float, ...]
    change: float | None
    """Day on which it was changed."""

    @property
    def is_wrong(self) -> bool:
        """Whether it is more than 1 % off at the end."""
        return abs(self.factors[-1] - 1) > 0.01


def made(count: int, seed: int) -> list[Made]:
    """Draw the truth: 12 % wrong by 1 to 6 %, 8 % changed by as much, the rest right; a fifth noted by hand."""
    rng = np.random.default_rng(seed)
    vehicles = []
    for number in range(count):
        off = rng.choice([-1, 1]) * rng.uniform(0.01, 0.06)
        level = np.full(DRIVES, 1 + rng.uniform(-SPREAD, SPREAD))
        days = np.sort(rng.uniform(0, SPAN_DAYS, DRIVES)) + np.arange(DRIVES)
        change = None
        if number < 0.12 * count:
            level += off
        elif number < 0.2 * count:
            after = int(rng.integers(1, DRIVES))
            change = float(rng.uniform(days[after - 1] + 0.05, days[after]))
            level[after:] *= 1 + off
        vehicles.append(Made(f"{number:04d}", number % 5 != 4, tuple(level), tuple(days), change))
    return vehicles


def write(folder: Path, vehicles: list[Made], seed: int) -> None:
    """Write the drives that are not there yet."""
    for number, vehicle in enumerate(vehicles):
        rng = np.random.default_rng([seed, number])
        for i, (factor, day) in enumerate(zip(vehicle.factors, vehicle.days, strict=True)):
            factor *= 1 + rng.normal(0, TIRES_U)
            if not (folder / vehicle.name / f"{i}.csv").exists():
                kind = LOGGED if vehicle.logged else NOTED
                shown = 1e7 + day * ODOMETER_M_A_DAY
                drive = drive_on(day, seed + 10 * number + i, factor, kind=kind, shown_m=shown, minutes=MINUTES)
                write_pair(drive, folder / vehicle.name, str(i))


def judge(result: FleetResult, vehicles: list[Made]) -> dict[str, str]:
    """Hold the list against the truth."""
    rows = {row.vehicle: row for row in result.rows}
    measured = [v for v in vehicles if rows[v.name].calibration is not None]
    listed = {row.vehicle for row in result.wrong}
    clear = [v for v in measured if v.logged and abs(v.factors[-1] - 1) >= 0.015]
    false = [v.name for v in vehicles if v.name in listed and not v.is_wrong]
    changed = [v for v in measured if v.change is not None and v.logged]
    seen = [v for v in changed if rows[v.name].changed]
    dated = [v for v in seen if _holds(rows[v.name], v)]
    invented = [v.name for v in measured if v.change is None and rows[v.name].changed]
    held = [abs(rows[v.name].error_percent.value / 100 + 1 - v.factors[-1]) for v in measured]
    inside = [
        rows[v.name].error_percent.contains(100 * (v.factors[-1] - 1)) for v in measured if rows[v.name].error_percent
    ]
    return {
        "vehicles with a number": f"{len(measured)} of {len(vehicles)}",
        "listed": f"{len(listed)}, falsely {len(false)} {false[:5]}",
        "logged and 1.5 % or more off": f"{sum(v.name in listed for v in clear)} of {len(clear)} listed, "
        f"missed {[v.name for v in clear if v.name not in listed]}",
        "all wrong": f"{sum(v.name in listed for v in measured if v.is_wrong)} of "
        f"{sum(v.is_wrong for v in measured)} listed",
        "changed, logged": f"{len(seen)} of {len(changed)} seen, {len(dated)} dated to the two drives about it or less",
        "changes invented": f"{len(invented)} {invented[:5]}",
        "intervals of the error that hold the truth": f"{np.mean(inside):.3f}",
        "error rms": f"{100 * float(np.sqrt(np.mean(np.square(held)))):.3f} %",
    }


def _holds(row: FleetRow, vehicle: Made) -> bool:
    assert vehicle.change is not None
    moment = FIRST_DAY_S + vehicle.change * DAY_S
    return any(step.earliest_s <= moment <= step.latest_s for step in row.changed)


def main() -> None:
    """Make the fleet where it is missing, run it and print the scores."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--vehicles", type=int, default=500)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--processes", type=int, default=None)
    given = parser.parse_args()
    vehicles = made(given.vehicles, given.seed)
    write(given.folder / "drives", vehicles, given.seed)
    started = time.monotonic()
    done: list[tuple[float, int, int]] = []
    result = speedcal.fleet(
        given.folder / "drives",
        remember=given.folder / "result",
        processes=given.processes,
        progress=lambda count, total: done.append((time.monotonic() - started, count, total)),
    )
    result.write(given.folder / "result")
    for name, value in judge(result, vehicles).items():
        sys.stdout.write(f"{name}: {value}\n")
    sys.stdout.write(f"{time.monotonic() - started:.0f} s, {done[-1] if done else 'all remembered'}\n")


if __name__ == "__main__":
    main()
