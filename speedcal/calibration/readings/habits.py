"""How a dial was looked at and rounded: what errs alike in all readings and can be seen in none of them."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from typing import Any, Literal, get_args

import numpy as np

from speedcal.calibration.dial.measured import MeasuredLine
from speedcal.calibration.tuning.logs import MARKS_TURN
from speedcal.calibration.tuning.notes import HEAP_STEPS, HEAPED_SIGMAS, HEAPS_ABOVE
from speedcal.interval import FloatArray
from speedcal.logs.drive.readings import Readings
from speedcal.units import MPH_MPS

ReadFrom = Literal["square", "side", "film", "logged"]
Rounding = Literal["nearest", "down", "exact"]
ROUNDING_HABIT, PARALLAX, STATED = "rounding_habit", "parallax", "stated_common"
"""Lines of the budget."""


@dataclass(frozen=True, slots=True)
class Habit:
    """What a way of reading does to every reading of a drive."""

    shift_mps: float
    """To be added to every reading. [m/s]"""
    u_rounding_mps: float
    """Standard uncertainty of that shift."""
    u_parallax_mps: float
    """Standard uncertainty of a reading from the angle of view."""
    sweep_rad_per_mps: float
    """How far the needle turns with speed. [rad s/m]"""
    of_figures: bool = False
    """No needle is read to a part of a step."""
    is_exact: bool = False
    """The needle was held on its marks."""
    is_film: bool = False
    """What a file states that its readings share is that of marks and view, which changes around the dial."""

    def covariances(self, speed_mps: FloatArray) -> dict[str, FloatArray]:
        """Return for each line of the budget the covariance of what is read at (n,) speeds, shape (n, n). [m2/s2].

        Parallax moves the needle's tip along the line of sight. Of that only the part along the scale is read, which
        goes with the sine of an angle that nobody noted: at two speeds it is alike as far as the needle points alike.
        """
        count = len(speed_mps)
        turned = self.sweep_rad_per_mps * np.subtract.outer(speed_mps, speed_mps)
        return {
            ROUNDING_HABIT: np.full((count, count), self.u_rounding_mps**2),
            PARALLAX: self.u_parallax_mps**2 * np.cos(turned),
        }


def habit_of(readings: Readings, read_from: ReadFrom | None, rounding: Rounding | None) -> Habit:
    """Return how readings were taken: as the caller says, else as they do, else square on and to the nearest."""
    habit = reading_habit(
        read_from or readings.read_from or "square",
        rounding or readings.rounding or "nearest",
        step_mps=readings.speed_resolution_mps,
    )
    # what a file states that all readings share has the view in it
    if readings.u_common_mps is None:
        return habit
    return replace(habit, u_parallax_mps=0.0, is_film="film" in (read_from, readings.read_from))


def shared_beside(line: MeasuredLine, readings: Readings, told: Habit | None) -> dict[str, FloatArray]:
    """Return what all readings share and the fit has not: what the file states, and, of a log, how it is told read."""
    knots = line.dial.knots_mps
    shared = told.covariances(knots) if told is not None and not line.habits else {}
    stated = readings.u_common_mps
    if stated is not None:
        known = np.flatnonzero(np.isfinite(line.ground_mps) & np.isfinite(stated))
        order = known[np.argsort(line.ground_mps[known], kind="stable")]
        if len(order):
            u = np.interp(knots, line.ground_mps[order], stated[order])
            turn = MARKS_TURN * told.sweep_rad_per_mps if told and told.is_film else 0.0
            turned = turn * np.subtract.outer(knots, knots)
            shared[STATED] = np.outer(u, u) * np.cos(turned)
    return shared


def reading_habit(read_from: ReadFrom, rounding: Rounding, *, step_mps: float) -> Habit:
    """Return what a way of reading does to readings taken in steps.

    Parameters
    ----------
    read_from
        ``square`` on, from the ``side`` (the passenger's seat), on ``film``, or ``logged`` by a machine.
    rounding
        Whether the ``nearest`` step or the one ``down`` was noted, or the needle held on it, which is ``exact``.

    Raises
    ------
    ValueError
        Another word for either.
    """
    for name, value, allowed in (("read_from", read_from, ReadFrom), ("rounding", rounding, Rounding)):
        if value not in get_args(allowed):
            raise ValueError(f"{name} must be one of {', '.join(get_args(allowed))}, not {value!r}")
    facts = _facts()
    habit, view, parallax = facts["rounding"][rounding], facts["view"][read_from], facts["parallax"]
    away_mm = parallax["needle_gap_mm"] * np.tan(np.radians(view["angle_deg"]))
    eye = read_from != "logged"
    return Habit(
        shift_mps=habit["shift_steps"] * step_mps,
        u_rounding_mps=eye * habit["u_steps"] * step_mps,
        u_parallax_mps=float(away_mm / parallax["scale_mm_per_mph"]) * MPH_MPS,
        sweep_rad_per_mps=float(np.radians(parallax["sweep_deg_per_mph"])) / MPH_MPS,
        of_figures=not eye,
        is_exact=rounding == "exact",
    )


def u_of_heaps(indicated_mps: FloatArray, step_mps: float) -> FloatArray | None:
    """Return the standard uncertainty of each reading, shape (n,), if some were rounded to fives and the others not.

    People round to fives now and then, and more so the faster the needle moves; None where no more readings are
    multiples of five steps than chance puts there, or all.

    Parameters
    ----------
    indicated_mps
        Readings as noted, shape (n,). [m/s]
    step_mps
        The step in which they are written, zero for figures without one. [m/s]
    """
    if step_mps <= 0:
        return None
    of_five = np.round(indicated_mps / step_mps) % HEAP_STEPS == 0
    share, chance, count = float(of_five.mean()), 1 / HEAP_STEPS, len(of_five)
    if share == 1 or share < chance + HEAPED_SIGMAS * np.sqrt(chance * (1 - chance) / count):
        return None
    rounded = (share - chance) / (share * (1 - chance))
    return np.where(of_five, np.sqrt(rounded / 12) * HEAP_STEPS * step_mps, 0.0)


def u_of_heaps_above(indicated_mps: FloatArray, step_mps: float) -> list[tuple[FloatArray, float]]:
    """Return the same where all of the fastest are multiples, of five steps or of ten, and the others need not be.

    On a fast road the driver looks less long, or the marks stand closer: nobody rounds so at every speed. With it go
    the log odds against chance by which they are more than are asked after; chance is as the others lie.
    """
    if step_mps <= 0:
        return []
    down = np.argsort(-indicated_mps, kind="stable")
    found = []
    for steps in (HEAP_STEPS, 2 * HEAP_STEPS):
        other = np.round(indicated_mps[down] / step_mps) % steps != 0
        count = int(np.argmax(other)) if other.any() else 0  # of all alike the step is coarse
        chance = max(1 / steps, 1 - float(other[count:].mean())) if count else 1.0
        beyond = float(-count * np.log(chance) - np.log(len(down)) - HEAPS_ABOVE)
        if beyond > 0:
            u = np.zeros(len(down))
            u[down[:count]] = steps * step_mps / np.sqrt(12)
            found.append((u, beyond))
    return found


@cache
def _facts() -> Mapping[str, Any]:
    text = resources.files("speedcal").joinpath("data/reading_habits.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)
