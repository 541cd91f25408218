"""Every number of the calibration that is a choice, by what it is about: unit, origin, effect."""
