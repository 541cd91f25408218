"""What came out of a drive, before it is judged."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.dial.measured import MeasuredLine
from speedcal.calibration.judged.uncertainty import uncertainty_budget
from speedcal.calibration.readings.local_time import zone_of_drive
from speedcal.calibration.readings.odometer import OdometerFactor
from speedcal.calibration.result import Calibration
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.finding import Trust
from speedcal.interval import IntArray, Interval
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.track import Track
from speedcal.units import DisplayUnit

if TYPE_CHECKING:
    import pandas as pd


def readings_table(readings: Readings, line: MeasuredLine, dial: Dial, run: IntArray) -> pd.DataFrame:
    """Return what became of each reading, as :attr:`Calibration.readings` documents it."""
    import pandas as pd

    predicted = dial.indicated(line.ground_mps) - line.reading_shift_mps
    reason = np.array(line.reason, dtype=object)
    return pd.DataFrame(
        {
            "line": readings.line,
            "time_s": line.time_s,
            "ground_mps": line.ground_mps,
            "indicated_mps": readings.speed_mps,
            "predicted_mps": predicted,
            "residual_mps": readings.speed_mps - predicted,
            "u_mps": np.full(len(readings), line.scatter_mps),
            "run": run,
            "used": reason == "",
            "reason": reason,
        }
    )


def unjudged(
    track: Track,
    readings: Readings,
    ground: GroundSpeed,
    line: MeasuredLine,
    dial: Dial,
    table: pd.DataFrame,
    *,
    unit: DisplayUnit,
    odometer: OdometerFactor | None,
) -> Calibration:
    """Return what came out, before it is judged."""
    used, run = table["used"].to_numpy(), table["run"].to_numpy()
    reference = float(np.median(line.ground_mps[used]))
    u_written_mps = readings.speed_resolution_mps / float(np.sqrt(12))
    return Calibration(
        unit=unit,
        dial=dial,
        clock_offset_s=None
        if line.clock_offset_s is None
        else Interval.known_to(line.clock_offset_s, line.u_clock_offset_s),
        odometer_factor=Interval.around(odometer.value, 2.0 * odometer.u) if odometer and odometer.value else None,
        scatter_mps=line.scatter_mps,
        speed_source=ground.source,
        trust=Trust("TRUSTED"),
        readings=table,
        ground=_ground_table(ground),
        steady_runs=len(np.unique(run[used & (run >= 0)])),
        budget=uncertainty_budget(
            line,
            dial,
            reference_mps=reference,
            u_rounding_mps=u_written_mps if line.u_rounding_mps is None else line.u_rounding_mps,
            u_ground_mps=ground.u_speed_mps,
        ),
        reference_speed_mps=reference,
        needle_lag_s=line.needle_lag_s,
        zone_s=zone_of_drive(track, readings.clock, line.clock_offset_s),
        sources=tuple((log.source, log.digest) for log in (track, readings)),
    )


def _ground_table(ground: GroundSpeed) -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame({"time_s": ground.time_s, "speed_mps": ground.speed_mps, "piece": ground.piece})
