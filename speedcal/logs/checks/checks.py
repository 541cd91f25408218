"""Checks: what the dial showed beside a true speed or distance that is known without a recorded track."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray, IntArray
from speedcal.logs.drive.arrays import as_arrays
from speedcal.units import SpeedUnit


@dataclass(frozen=True, eq=False)
class Checks:
    r"""Pairs of a reading and the truth it was taken against, in the order of the file; all arrays of shape (n,).

    Examples
    --------
    A mile in 57 s with 67 mph on the dial, a mile in 112.5 s with 35.

    >>> import pathlib
    >>> import tempfile
    >>> import speedcal
    >>> path = pathlib.Path(tempfile.mkdtemp()) / "mile.csv"
    >>> _ = path.write_text("dial mph,mile time\n67,57.0\n35,112.5\n")
    >>> checks = speedcal.read_checks(path)
    >>> len(checks), checks.speed_unit, round(float(checks.true_mps[0]) / 0.44704, 2)
    (2, 'mph', 63.16)
    """

    dial_mps: FloatArray
    """What the dial showed, or NaN in a row that only checks the odometer. [m/s]"""
    true_mps: FloatArray
    """True speed, from another instrument or from distance over time; NaN as above. [m/s]"""
    u_true_mps: FloatArray
    """Standard uncertainty of each true speed by itself, its last digit apart: timing, lag. [m/s]"""
    odometer_m: FloatArray
    """Distance the odometer or trip meter counted; NaN where it was not read. [m]"""
    distance_m: FloatArray
    """True distance over which it counted; NaN where none is given. [m]"""
    line: IntArray
    """Line of the file, counted from 1."""
    dial_step_mps: float
    """Step to which the dial was read. [m/s]"""
    odometer_step_m: float
    """Step to which the odometer was read; NaN without one. [m]"""
    u_common: float
    """Relative standard uncertainty that all true speeds and distances share, such as the length of the mile."""
    speed_unit: SpeedUnit
    correlation: FloatArray | None = None
    """Correlation of the errors that ``u_true_mps`` stands for, shape (n, n): miles timed one after the other share an
    end. None where every true speed stands by itself."""
    cut_mps: FloatArray | None = None
    """What to add to each true speed if its last digit was cut off in place of rounded, half its step: below zero where
    it was the time that was cut. None where steps do not matter. [m/s]"""
    stretch: IntArray | None = None
    """Rows of one number were taken on one mark without letting go of it. None where each stands by itself."""
    source: str = ""
    digest: str = ""
    """SHA-256 of the file."""
    findings: tuple[Finding, ...] = field(default=())

    def __post_init__(self) -> None:
        as_arrays(self)

    def __len__(self) -> int:
        return len(self.dial_mps)

    @property
    def has_speed(self) -> BoolArray:
        """Which rows check the dial, shape (n,)."""
        return np.asarray(np.isfinite(self.dial_mps) & np.isfinite(self.true_mps))
