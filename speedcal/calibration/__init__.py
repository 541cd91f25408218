"""From a track and readings to a calibration."""

from speedcal.calibration.calibrate import calibrate
from speedcal.calibration.result import BudgetLine, Calibration

__all__ = ["BudgetLine", "Calibration", "calibrate"]
