"""Readings that follow a track, but no dial: of the same road on another day, or of a needle that falls or jumps.

They get no number, and neither is said of them that they are of another drive: what scatters so may be the files, and
may be the gear that the needle hangs on.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from speedcal.calibration.tuning import general as tuned
from speedcal.interval import FloatArray, median

LOOSE, FEW_CHANGES = "loose_readings", "few_changes"
"""Codes of the refusal: of readings that no dial explains, and of those that one does, as it would on many drives."""


def how_loose(away_mps: FloatArray, scatter_mps: float, *, half_step_mps: float = 0.0) -> tuple[str, dict[str, Any]]:
    """Return code and values of the refusal: how many readings lie on one dial, and how far off the others are.

    Parameters
    ----------
    away_mps
        By how much each reading is above what the dial shows otherwise, shape (n,). [m/s]
    scatter_mps
        Scatter about the dial, without what is known otherwise. [m/s]
    half_step_mps
        Half of the step in which they were written: no farther from it they may lie on it. [m/s]
    """
    near_mps = max(tuned.LOOSE_NEAR_MPS, half_step_mps)
    far = np.abs(away_mps) > near_mps
    low = far & (away_mps < 0)
    tight = far.mean() <= tuned.TIGHT_FAR_SHARE and scatter_mps <= tuned.TIGHT_SCATTER_MPS
    return FEW_CHANGES if tight else LOOSE, {
        "near": int((~far).sum()),
        "count": len(away_mps),
        "within_mps": near_mps,
        "low": int(low.sum()),
        "high": int((far & ~low).sum()),
        "off_mps": median(np.abs(away_mps[far])) if far.any() else 0.0,
        "scatter_mps": scatter_mps,
    }


def why_no_dial(away_mps: FloatArray, shown_mps: FloatArray, scatter_mps: float) -> tuple[str, dict[str, Any]]:
    """Return code and values of the refusal of readings that scatter too much for any dial.

    Those that scatter little beside the spread of the speeds shown, shape (n,), follow the track for all that.
    """
    if scatter_mps < tuned.LOOSE_SPREAD_SHARE * float(np.std(shown_mps)):
        return LOOSE, how_loose(away_mps, scatter_mps)[1]
    return "readings_do_not_follow", {"scatter_mps": scatter_mps}
