"""What is kept of a drive of a fleet, as numbers ready for JSON, and the calibration that they make again."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from functools import cache
from typing import TYPE_CHECKING, Any

from speedcal.finding import json_ready

if TYPE_CHECKING:
    import pandas as pd

    from speedcal.calibration import Calibration
    from speedcal.calibration.dial.dial import Dial
    from speedcal.interval import FloatArray
    from speedcal.logs import Readings, Track

Outcome = dict[str, Any]
"""What became of a drive, ready for JSON: its numbers, or ``error`` with the parts of the refusal."""

_WHOLE = 9
"""Digits kept of a dial's knots."""


def kept(track: Track, readings: Readings, calibration: Calibration, by_box: bool) -> Outcome:
    """Return what is kept of a drive, not positions and readings; ``by_box``: one file has both, as no hand writes."""
    import numpy as np

    from speedcal.calibration.readings.kind import is_log

    known = readings.odometer_m[np.isfinite(readings.odometer_m)]
    times = readings.time_s[np.isfinite(readings.time_s)]
    by_machine = bool(len(times) > 2 and is_log(np.sort(times)))
    odometer = calibration.odometer_factor
    ground = calibration.ground
    same = ground["piece"].diff().to_numpy()[1:] == 0
    time_s, speed = ground["time_s"].to_numpy(), ground["speed_mps"].to_numpy()
    way = float(np.sum((np.diff(time_s) * (speed[1:] + speed[:-1]) / 2)[same]))
    return {
        "start_s": float(track.time_s[0]) if track.has_date else None,
        "end_s": float(track.time_s[-1]) if track.has_date else None,
        "distance_m": round(way, 1),
        "odometer_m": [float(known.min()), float(known.max())] if len(known) else None,
        "unit": calibration.unit,
        "logged": by_box or by_machine,
        "is_seldom": not by_machine,
        "trust": calibration.trust.word,
        "reasons": [_finding(f) for f in calibration.trust.reasons],
        "findings": [_finding(f) for f in calibration.findings],
        "odometer": [odometer.value, odometer.low, odometer.high] if odometer else None,
        "u_way": next((f.values["u"] for f in calibration.findings if f.code == "distance_between_fixes"), 0.0),
        "scatter_mps": calibration.scatter_mps,
        "reference_mps": calibration.reference_speed_mps,
        "speed_source": calibration.speed_source,
        "steady_runs": calibration.steady_runs,
        "dial": _dial(calibration.dial),
    }


def _finding(finding: Any) -> dict[str, Any]:
    return {"code": finding.code, "values": json_ready(finding.values)}


def _dial(dial: Dial) -> dict[str, Any]:
    import numpy as np

    upper = dial.knot_covariance[np.triu_indices(len(dial.knots_mps))]
    return {
        "knots": [round(float(v), _WHOLE) for v in dial.knots_mps],
        "shown": [round(float(v), _WHOLE) for v in dial.shown_mps],
        "covariance": base64.b64encode(upper.astype("<f8").tobytes()).decode(),
        "used": [round(float(v), 4) for v in dial.used_mps],
        "shape": dial.shape,
    }


def calibration_of(outcome: Outcome) -> Calibration:
    """Return the calibration of a remembered drive, without its readings and its track."""
    from speedcal.calibration.result import Calibration
    from speedcal.finding import Finding, Trust
    from speedcal.interval import Interval

    reasons, findings = (
        tuple(Finding(item["code"], **item["values"]) for item in outcome[name]) for name in ("reasons", "findings")
    )
    readings, ground = _nothing()
    odometer = outcome["odometer"]
    return Calibration(
        unit=outcome["unit"],
        dial=_dial_of(outcome["dial"]),
        clock_offset_s=None,
        odometer_factor=Interval(*odometer) if odometer else None,
        scatter_mps=outcome["scatter_mps"],
        speed_source=outcome["speed_source"],
        trust=Trust(outcome["trust"], reasons),
        readings=readings,
        ground=ground,
        steady_runs=outcome["steady_runs"],
        reference_speed_mps=outcome["reference_mps"],
        findings=findings,
    )


@cache
def _nothing() -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return readings and ground speed without rows, made once for all drives."""
    import pandas as pd

    columns = ("line", "time_s", "ground_mps", "indicated_mps", "predicted_mps", "residual_mps", "u_mps", "run")
    readings = pd.DataFrame({name: pd.Series(dtype=float) for name in columns})
    readings = readings.assign(used=pd.Series(dtype=bool), reason=pd.Series(dtype=object))
    return readings, pd.DataFrame({name: pd.Series(dtype=float) for name in ("time_s", "speed_mps", "piece")})


def _dial_of(numbers: Mapping[str, Any]) -> Dial:
    import numpy as np

    from speedcal.calibration.dial.dial import Dial

    count = len(numbers["knots"])
    covariance: FloatArray = np.zeros((count, count))
    covariance[np.triu_indices(count)] = np.frombuffer(base64.b64decode(numbers["covariance"]), "<f8")
    covariance += np.triu(covariance, 1).T
    return Dial(
        np.array(numbers["knots"]), np.array(numbers["shown"]), covariance, np.array(numbers["used"]), numbers["shape"]
    )
