"""From a track and readings to a calibration."""
