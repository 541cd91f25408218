"""Facts of the gear train: gears, scalers, settings, the axle counted or by engine speed."""
