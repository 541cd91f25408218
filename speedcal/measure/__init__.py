"""From a track and readings to a calibration."""

from speedcal.measure.calibrate import calibrate
from speedcal.measure.model import BudgetLine, Calibration

__all__ = ["BudgetLine", "Calibration", "calibrate"]
