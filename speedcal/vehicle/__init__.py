"""From a calibration and a vehicle to corrections."""
