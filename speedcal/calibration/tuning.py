"""Every number of the calibration that is a choice: its unit, where it comes from, what happens when it is doubled."""

from __future__ import annotations

from speedcal.units import MPH_MPS

# ---- the dial

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

# ---- checks

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

# ---- ground speed

FEWEST_FIXES = 10
"""Fixes that a track needs; fewer tell no speed."""

GAP_S, GAP_INTERVALS = 3.0, 3.0
"""A pause longer than both, in seconds and in usual intervals, is a gap; nothing is interpolated over it. Doubled,
a tunnel would be bridged by a straight line."""

SLOWEST_MPS = 2.8
"""Below this, 10 km/h, an instrument need not be linear: many show nothing at a walk (common practice, no source).
Doubled, city drives lose a third of their readings."""

SLOWEST_POSITION_SPEED_MPS = 4.0
"""Below this the noise of positions is too large a part of a speed: with stops left in, factors came out 0.4 % off."""

RECORDED_U_MPS = 0.1
"""Standard uncertainty of a recorded speed when its own scatter does not tell more: 0.2 m/s at 95 % (NAVSTAR GPS User
Equipment Introduction, section 3.3)."""

STRAIGHT_RAD_PER_S = 0.05
"""Position speed counts only while the course turns slower than this. Receivers cut corners by (turning rate x time
constant)^2 / 2: at 0.05 rad/s and one second 0.1 %, in a street corner several per cent."""

POSITION_WINDOW_S = 2.0
"""Reach of the local fit to either side. From trials: 7 s in all bias the factor by 0.15 %, 4 s by nothing."""

STRAIGHT_FIT_RAD = 0.05
"""A fit that turns less than this leaves only noise as residual."""

MOST_CHORD = 0.05
"""Largest correction from chord to arc; beyond it the course between two fixes is anybody's guess."""

ACCELERATION_REACH_S = 2.0
"""Reach of the change of speed to either side, long enough that the noise of a fix is not in it."""

GRADE_WINDOW_S, STEEPEST_GRADE, HEIGHTS_NEEDED = 8.0, 0.2, 0.8
"""Heights are smoothed over twice this time; grades are cut off at this; this share of fixes must have a height."""

STRETCH_S, STRAIGHT_CHORD = 10.0, 0.97
"""Recorded speed is held against positions over stretches this long whose chord is at least this share of the path."""

UNIT_TOLERANCE, SPEED_DISAGREES = 0.1, 0.015
"""Recorded speed over position speed: within the first of a unit's factor it is that unit; off by more than the second
one of the two is wrong."""

IMPOSSIBLE_SPEED_MPS, IMPOSSIBLE_ACCELERATION, POSITION_SLACK_M = 110.0, 15.0, 25.0
"""What no road vehicle does; a step longer than these allow, and the slack, is a jump of the receiver."""

SPIKE_MPS, SPIKE_ACCELERATION = 6.0, 4.0
"""A recorded speed this far from the median of its neighbours, and this much more for each second between fixes, is a
spike."""

# ---- readings

FEWEST_READINGS = 4
"""Readings without which a line and its doubt cannot be told."""

ABSURD_READING_MPS = 150.0
"""No road vehicle's dial shows this."""

SLOWEST_DRIVE_MPS = 5.0
"""A drive whose fast part is slower than this is a walk."""

# ---- odometer

ODOMETER_SHORTEST_M = 1500.0
"""Shortest distance that tells an odometer's factor."""

ODOMETER_MOST_FACTOR = 3.0
"""An odometer that rises faster than this many times the way travelled was put back or misread."""

ODOMETER_PAIRS_OF = 200
"""Readings whose pairs are compared, for the time it takes."""

ODOMETER_STANDS_S = 5.0
"""An odometer read again within this time without a new figure is one reading."""

ODOMETER_LEAST_U_M = 1.0
"""Least standard uncertainty of a distance read."""

ODOMETER_WRONG_FROM, ODOMETER_SLOPE_SLACK = 5.0, 0.01
"""Standard uncertainties, and share of the way, by which a reading may leave the median line."""

TRACK_LENGTH_U = 0.0005
"""Relative standard uncertainty of the measured length of a drive; from memory."""

# ---- judgement

FEW_READINGS, FEW_RUNS, NARROW_RANGE, SAME_LEVEL_MPS = 8, 3, 1.3, 1.5
"""Below these counts an answer is weak; speeds whose ends have a smaller ratio are one speed; levels nearer than this
are one level. Common practice, no source."""

MANY_WRONG = 0.3
"""Share of wrong readings from which on the file is doubted."""

WIDE_SHARE, WIDE_MPS = 0.025, 1.0 * MPH_MPS
"""A half width larger than both, as a share of the speed and in m/s, decides no gear: half of one in
twenty teeth is 2.5 %."""

FOLLOWS_MPS = 2.0 * MPH_MPS
"""Readings that scatter more than this do not belong to the track: right ones scatter by half a mph to one, those of
another drive by three or more (simulated drives)."""

MILES_KILOMETRES_TOLERANCE = 0.16
"""A dial that is off by up to this much and was noted in the other unit is asked about."""

OFFSET_UNKNOWN_MPS = 1.0 * MPH_MPS
"""Standard uncertainty of the offset from which on the answer is said to rest on its prior."""

CLOCK_FAR_S = 300.0
"""A clock that is off by more is worth a word."""

# ---- the budget

TIRE_STATE_U = 0.002
"""Relative standard uncertainty from one day to another: pressure, temperature and load of the tires; from memory."""
