"""Every number of the calibration that is a choice: its unit, where it comes from, what happens when it is doubled."""

from __future__ import annotations

from speedcal.units import MPH_MPS

OFFSET_PRIOR_MPS = 1.5 * MPH_MPS
"""Standard deviation of a pointer's constant error before a drive is seen. Common practice, no source: pointers sit
within a mph or two. Doubled, notes at few speeds get factors half as wide again."""

FACTOR_PRIOR_U = 0.5
"""Standard deviation of the error factor about 1 before a drive is seen; wide enough never to matter."""

CURVE_LENGTHS_MPS = (10 * MPH_MPS, 20 * MPH_MPS)
"""Lengths over which a dial's deviation changes, mixed evenly. From trials on bent dials: 10 alone is wide on notes,
20 and 40 miss a bend in the middle (coverage 0.63)."""

CURVE_SIZES_MPS = tuple(size * MPH_MPS for size in (0.15, 0.35, 0.7, 1.3, 2.2))
"""Sizes of the deviation that are weighed; doubled at the top, notes become a tenth wider."""

STRAIGHT_SHARE = 0.3
"""Prior probability that a dial has no deviation at all."""

BENT_ODDS = 20.0
"""Odds of the data for a deviation, against none, from which on a dial is called bent (Kass and Raftery 1995)."""

KNOT_SPACING_MPS = 2.5
"""Distance of a dial's knots; half of it changes readings by less than 0.001 m/s."""

FEWEST_CHECKS = 2
"""Rows of dial and truth that give an answer at all; one alone would rest on the prior of the offset."""

CHECK_HOLD_MPS = 0.5 * MPH_MPS
"""How well a speed is held over a check, standard. Common practice, no source: within a mph. Doubled, two measured
miles leave a dial known twice as badly."""

FEWEST_CHECKS_TO_DOUBT = 5
"""Checks from which on one can be held against the others."""

CHECK_WRONG_FROM = 5.0
"""Standard uncertainties from the others' line from which on a check is taken to be a slip of the pen."""

ODOMETER_STEPS_U = 0.41
"""Standard uncertainty of a difference of two odometer readings in steps: two roundings of 1/sqrt(12) each."""
