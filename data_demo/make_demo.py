"""Make the demo drives: an invented workshop, vehicle and road, with a known truth.

Run from anywhere: ``python data_demo/make_demo.py [FOLDER]`` writes the drives, the notes and ``truth.toml`` beside
this file or into FOLDER. The same script makes the same bytes.

Everything here is invented. The road lies in the open ocean. The vehicle's axle gears were changed from a smaller ratio
to 41/11 and the gears of the speedometer drive were left alone, so the dial reads high; then the driven gear goes from
19 to 22 teeth.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from speedcal.simulate import Drive, DriveKind, Plateau, simulate
from speedcal.simulate.files import render_gpx
from speedcal.units import MILE_M, MPH_MPS

CIRCUMFERENCE_M = 2.1912
"""What the tires roll in one turn; the size printed on them, P225/70R16, nominally rolls 2.200 m."""
AXLE = 41 / 11
DRIVE_GEAR = 8
DRIVEN_BEFORE, DRIVEN_AFTER = 19, 22
TURNS_PER_MILE = 1000
OFFSET_MPH = 1.2
ZONE_H = -10
"""The passenger's watch shows this many hours from UTC, and no zone is written down."""
CLOCK_S = {"before": 7.0, "after": -4.0}
"""The watch is slow by this: watch + this = GPS clock, apart from the zone."""
WRONG_READING = 13
"""Counted from 0: this reading of the drive before is written down with its digits swapped."""
SPEEDS_MPH = {"before": (35, 55, 25, 45, 65, 30, 60, 40, 50), "after": (45, 30, 60, 25, 50, 65, 40, 55, 35)}
SEED = {"before": 41, "after": 17}
START = {"before": datetime(2031, 5, 17, 19, 32, tzinfo=UTC), "after": datetime(2031, 5, 24, 20, 5, tzinfo=UTC)}


def error_factor(driven_gear: int) -> float:
    """Return the gain of the dial: turns that the instrument gets for a mile, over those it expects."""
    return AXLE * DRIVE_GEAR / driven_gear * MILE_M / CIRCUMFERENCE_M / TURNS_PER_MILE


def drive(name: str) -> Drive:
    """Return one of the two drives."""
    kind = DriveKind(about="demo", time_sd_s=0.8, gaps=0, clock_range_s=0.0)
    plan = [Plateau(v * MPH_MPS, 75.0, readings=4 if i % 2 else 3) for i, v in enumerate(SPEEDS_MPH[name])]
    factor = error_factor(DRIVEN_BEFORE if name == "before" else DRIVEN_AFTER)
    return simulate(kind, SEED[name], error_factor=factor, offset_mps=OFFSET_MPH * MPH_MPS, plan=plan)


def notes(name: str, made: Drive, shift_s: float) -> str:
    """Return the passenger's notes: clock times with AM and PM, whole miles an hour."""
    rows = ["# invented notes of an invented drive", "time,dial (mph)"]
    for i, (time_s, speed_mps) in enumerate(zip(made.readings.time_s, made.readings.speed_mps, strict=True)):
        watch = datetime.fromtimestamp(round(time_s + shift_s - CLOCK_S[name]) + ZONE_H * 3600, UTC)
        shown = f"{speed_mps / MPH_MPS:.0f}"
        if name == "before" and i == WRONG_READING:
            shown = shown[::-1]
        rows.append(f"{watch:%I:%M:%S %p},{shown}")
    return "\n".join(rows) + "\n"


def main(folder: Path) -> None:
    """Write every file of the demo but the job file."""
    for name in ("before", "after"):
        made = drive(name)
        shift_s = START[name].timestamp() - float(np.floor(made.track.time_s[0]))
        track = replace(made.track, time_s=made.track.time_s + shift_s)
        (folder / f"{name}.gpx").write_text(render_gpx(track), encoding="utf-8")
        (folder / f"{name}_notes.csv").write_text(notes(name, made, shift_s), encoding="utf-8")
    (folder / "truth.toml").write_text(truth(), encoding="utf-8")


def truth() -> str:
    """Return what is really so, for tests and the curious."""
    return "\n".join(
        [
            "# The truth behind the invented demo drives, written by make_demo.py.",
            f"circumference_m = {CIRCUMFERENCE_M}",
            f"offset_mph = {OFFSET_MPH}",
            f"best_driven_gear = {DRIVEN_AFTER}",
            f"error_factor_before = {error_factor(DRIVEN_BEFORE):.6f}",
            f"error_factor_after = {error_factor(DRIVEN_AFTER):.6f}",
            f"clock_s_before = {CLOCK_S['before'] - 3600 * ZONE_H}",
            f"clock_s_after = {CLOCK_S['after'] - 3600 * ZONE_H}",
            f"wrong_reading_line_before = {WRONG_READING + 3}",
            "",
        ]
    )


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
