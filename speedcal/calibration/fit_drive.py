"""Which fit the readings of a drive ask for: noted, logged, or listed without times."""

from __future__ import annotations

import numpy as np

from speedcal.calibration.dial.measured import MeasuredLine
from speedcal.calibration.logged.log_rows import fit_log
from speedcal.calibration.noted.fit_held import fit_held
from speedcal.calibration.noted.note_rows import fit_notes
from speedcal.calibration.readings.habits import Habit
from speedcal.calibration.readings.kind import is_log
from speedcal.calibration.readings.refusals import usable_readings
from speedcal.calibration.readings.rows import in_their_order, stated_by
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.runs import SteadyRuns
from speedcal.logs.drive.readings import Readings


def fit_drive(
    ground: GroundSpeed, runs: SteadyRuns, readings: Readings, known_s: float | None, habit: Habit
) -> MeasuredLine:
    """Fit the line in the way the readings ask for; readings without a speed come out as not used.

    Parameters
    ----------
    known_s
        Clock offset, as far as it is known. [s]
    """
    here = usable_readings(readings)
    if readings.clock == "none":
        held = fit_held(
            ground,
            runs,
            readings.speed_mps[here],
            u_stated_mps=stated_by(readings)[here],
            step_mps=readings.speed_resolution_mps,
            habit=habit,
            source=readings.source,
        )
        return in_their_order(held, here, readings)
    order = here[np.argsort(readings.time_s[here], kind="stable")]
    if is_log(readings.time_s[order]):
        return fit_log(ground, runs, readings, known_s, habit)
    return fit_notes(ground, runs, readings, known_s, habit, order)
