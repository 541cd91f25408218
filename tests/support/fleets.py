"""Folders of simulated drives whose truth is known, laid out as a shop or a fleet has them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from speedcal.simulate import KINDS, Drive, DriveKind, simulate
from speedcal.simulate.files import render_csv, render_gpx
from speedcal.units import MILE_M

DAY_S = 86400.0
NOTED = replace(KINDS["noted"], odometer=True)
LOGGED = replace(KINDS["logged"], odometer=True)


def drive_on(day: float, seed: int, factor: float, *, kind: DriveKind = NOTED, shown_m: float = 2e7) -> Drive:
    """Return a drive of twelve minutes made on a day, whose odometer starts at a figure and keeps the factor."""
    drive = simulate(kind, seed, error_factor=factor, offset_mps=0.0, minutes=12)
    track = replace(drive.track, time_s=drive.track.time_s + day * DAY_S)
    readings = replace(drive.readings, time_s=drive.readings.time_s + day * DAY_S)
    if kind.odometer:
        noted = np.isfinite(readings.odometer_m)
        first = readings.odometer_m[noted][0]
        step = MILE_M / 10
        odometer = np.floor((readings.odometer_m - first + shown_m) / step) * step
        readings = replace(readings, odometer_m=odometer)
    return replace(drive, track=track, readings=readings)


def write_pair(drive: Drive, folder: Path, stem: str) -> None:
    """Write track and readings under one stem."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / f"{stem}.gpx").write_text(render_gpx(drive.track), encoding="utf-8")
    (folder / f"{stem}.csv").write_text(render_csv(drive.readings), encoding="utf-8")


def write_fleet(folder: Path, factors: Mapping[str, Sequence[float]], *, kind: DriveKind = NOTED) -> Path:
    """Write one subfolder a vehicle, with a drive every 30 days for each factor."""
    for number, (vehicle, several) in enumerate(factors.items()):
        for day, factor in enumerate(several):
            made = drive_on(30.0 * day, 100 * number + day, factor, kind=kind, shown_m=2e7 + 5e6 * day)
            write_pair(made, folder / vehicle, f"day{day}")
    return folder
