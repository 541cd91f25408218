"""The uncertainty budget of a calibration, in the manner of the GUM."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.dial.measured import MeasuredLine
from speedcal.calibration.result import ANOTHER_DAY, BudgetLine
from speedcal.calibration.tuning.general import TIRE_STATE_U


def uncertainty_budget(
    line: MeasuredLine, dial: Dial, *, reference_mps: float, u_rounding_mps: float, u_ground_mps: float
) -> tuple[BudgetLine, ...]:
    """Return the components of the uncertainty of the indicated speed at a reference speed, largest first.

    The variance of the fit is divided among what makes a reading scatter: the hand or the instrument (what is left,
    type A), rounding and the ground speed (type B), and the part that not knowing the clock offset adds (JCGM
    100:2008, clauses 4 and 8). What errs alike in all readings has its own lines. The tires' state on another day
    comes last; it matters when two drives are compared and is no part of the interval of this one.

    Parameters
    ----------
    u_rounding_mps, u_ground_mps
        Standard uncertainty of one reading from its resolution, and of one ground speed. [m/s]
    """
    habits = [
        (name, float(part.u_indicated(reference_mps)), part.line.u_factor)
        for name, part in ((name, replace(dial, knot_covariance=part)) for name, part in line.habits.items())
    ]
    whole = float(dial.u_indicated(reference_mps)) ** 2
    # readings of one speed may leave less than nothing for a factor, which is then refused
    variance = max(whole - sum(u**2 for _, u, _ in habits), 0.0)
    variance_factor = max(float(dial.line.covariance[1, 1]) - sum(u_factor**2 for _, _, u_factor in habits), 0.0)
    single = max(line.scatter_mps**2, u_rounding_mps**2 + (line.gain * u_ground_mps) ** 2, 1e-12)
    rounding = u_rounding_mps**2 / single
    ground = (line.gain * u_ground_mps) ** 2 / single
    rest = 1 - line.time_share
    shares = {
        ("scatter", "A"): rest * max(1 - rounding - ground, 0.0),
        ("resolution", "B"): rest * rounding,
        ("ground_speed", "B"): rest * ground,
        ("clock_offset", "A"): line.time_share,
    }
    lines = [
        BudgetLine(
            component=name,
            evaluation="A" if kind == "A" else "B",
            u_factor=float(np.sqrt(share * variance_factor)),
            u_indicated_mps=float(np.sqrt(share * variance)),
            share=share * variance / whole,
        )
        for (name, kind), share in shares.items()
    ]
    lines += [BudgetLine(name, "B", u_factor, u, u**2 / whole) for name, u, u_factor in habits]
    lines.sort(key=lambda entry: -entry.share)
    other_day = line.gain * TIRE_STATE_U
    return (*lines, BudgetLine(ANOTHER_DAY, "B", other_day, other_day * reference_mps, 0.0))
