"""Folders of simulated drives whose truth is known, laid out as a shop or a fleet has them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from speedcal.simulate import KINDS, Drive, DriveKind, simulate
from speedcal.simulate.files import render_csv, render_gpx
from speedcal.units import MILE_M

DAY_S = 86400.0
FIRST_DAY_S = 1_900_022_400.0
"""18 March 2030, 00:00 UTC: when day 0 begins."""
NOTED = replace(KINDS["noted"], odometer=True)
LOGGED = replace(KINDS["logged"], odometer=True)


def drive_on(
    day: float, seed: int, factor: float, *, kind: DriveKind = NOTED, shown_m: float = 2e7, minutes: float = 12.0
) -> Drive:
    """Return a drive made on a day, whose odometer starts at a figure and keeps the factor."""
    drive = simulate(kind, seed, error_factor=factor, offset_mps=0.0, minutes=minutes)
    later = FIRST_DAY_S + day * DAY_S - drive.track.time_s[0]
    track = replace(drive.track, time_s=drive.track.time_s + later)
    readings = replace(drive.readings, time_s=drive.readings.time_s + later)
    if kind.odometer:
        noted = np.isfinite(readings.odometer_m)
        first = readings.odometer_m[noted][0]
        step = MILE_M / 10
        odometer = np.floor((readings.odometer_m - first + shown_m) / step) * step
        readings = replace(readings, odometer_m=odometer)
    truth = replace(drive.truth, time_s=drive.truth.time_s + later)
    return replace(drive, track=track, readings=readings, truth=truth)


def write_pair(drive: Drive, folder: Path, stem: str) -> None:
    """Write track and readings under one stem."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / f"{stem}.gpx").write_text(render_gpx(drive.track), encoding="utf-8")
    (folder / f"{stem}.csv").write_text(render_csv(drive.readings), encoding="utf-8")


def telematics_rows(vehicle: str, drive: Drive, factor: float, *, every_s: int = 1, step_m: float = 100.0) -> list[str]:
    """Return a drive as rows of a long table: time, vehicle, position, its speed and the vehicle's, odometer in km.

    Speeds are in whole km/h; the odometer counts the true distance times the factor and is cut to its step.
    """
    rows = []
    track = drive.track
    start = float(drive.truth.distance_at(track.time_s[0]))
    for i in range(0, len(track), every_s):
        time_s = float(track.time_s[i])
        shown = round(factor * float(drive.truth.ground_at(time_s)) * 3.6)
        counted = factor * (float(drive.truth.distance_at(time_s)) - start) + 12_345_678.0
        stamp = datetime.fromtimestamp(time_s, UTC).strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3] + "Z"
        odometer = np.floor(counted / step_m) * step_m / 1000
        place = f"{track.latitude_deg[i]:.7f},{track.longitude_deg[i]:.7f}"
        rows.append(f"{stamp},{vehicle},{place},{track.speed_mps[i]:.2f},{shown},{odometer:g}")
    return rows


TELEMATICS_HEADER = "time,vehicle id,latitude,longitude,gps speed (m/s),vehicle speed (km/h),odometer (km)"


def write_fleet(folder: Path, factors: Mapping[str, Sequence[float]], *, kind: DriveKind = NOTED) -> Path:
    """Write one subfolder a vehicle, with a drive every 30 days for each factor."""
    for number, (vehicle, several) in enumerate(factors.items()):
        for day, factor in enumerate(several):
            made = drive_on(30.0 * day, 100 * number + day, factor, kind=kind, shown_m=2e7 + 5e6 * day)
            write_pair(made, folder / vehicle, f"day{day}")
    return folder
