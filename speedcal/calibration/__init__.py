"""From a track and readings, or from checks, to a calibration."""

from speedcal.calibration.calibrate import calibrate
from speedcal.calibration.checked.fit_checks import calibrate_checks
from speedcal.calibration.result import BudgetLine, Calibration

__all__ = ["BudgetLine", "Calibration", "calibrate", "calibrate_checks"]
