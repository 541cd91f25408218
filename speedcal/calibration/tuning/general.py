"""Every number of the calibration that is a choice: its unit, where it comes from, what happens when it is doubled."""

from __future__ import annotations

from speedcal.units import MPH_MPS

# ---- the dial

OFFSET_PRIOR_MPS = 1.5 * MPH_MPS
"""Standard deviation of a pointer's constant error before a drive is seen. Common practice, no source: pointers sit
within a mph or two. Doubled, notes at few speeds get factors half as wide again."""

OFFSET_SIZES_MPS, OFFSET_SHARES = (1.3 * MPH_MPS, 5 * MPH_MPS), (0.7, 0.3)
"""The same for notes and checks, with needles that were put on wrongly: three in ten of those that somebody has
measured, from memory, so that the others sit within a mph or two by themselves. With one in ten, beside 1.5 mph,
factors of needles 3 to 8 mph off are 0.6 % high in place of 0.4, and others are known a hundredth less well."""

FACTOR_PRIOR_U = 0.5
"""Standard deviation of the error factor about 1 before a drive is seen; wide enough never to matter."""

SMALLEST_FACTOR, LARGEST_FACTOR = 0.2, 5.0
"""Error factors that are looked for: a sensor with a quarter or four times the pulses, and tires or gears a fifth off
besides. Doubled, a level line through any notes comes into reach."""

PULSE_FACTORS, PULSE_SLACK = (0.25, 4.0), 0.15
"""Factors beyond half and twice that have a cause, a wrong pulse count, and the slack around all of them, a share."""

CURVE_LENGTHS_MPS = (10 * MPH_MPS, 20 * MPH_MPS)
"""Lengths over which a dial's deviation changes, mixed evenly. From trials on bent dials: 10 alone is wide on notes,
20 and 40 miss a bend in the middle (coverage 0.63)."""

STRAIGHT_SHARE = 0.5
"""Prior probability that a dial has no deviation at all. On few notes this decides the width in the middle: at 0.3
intervals there were a seventh wider and held 98.5 %."""

CURVE_SIZES_MPS = tuple(size * MPH_MPS for size in (0.15, 0.35, 0.7, 1.3, 2.2))
"""Sizes of the deviation that are weighed, all alike. From trials: intervals through dials bent by 1.5 mph hold 95 %;
the sizes doubled, notes become a tenth wider; with large ones rarer nothing is gained and a plain hump is flattened."""

BENT_ODDS = 20.0
"""Odds of the data for a deviation, against none, from which on a dial is called bent (Kass and Raftery 1995)."""

KNOT_SPACING_MPS = 2.5
"""Distance of a dial's knots; half of it changes readings by less than 0.001 m/s."""

# ---- checks

CHECK_HOLD_MPS, CHECK_HABIT_MPS = 0.42 * MPH_MPS, 0.15 * MPH_MPS
"""How well a speed is held over a check, and what one pair of eyes sees wrongly in all of them alike, standard. Common
practice, no source: within a mph. Doubled, two measured miles leave a dial known twice as badly."""

CHECK_ERROR_SIZES, CHECK_ERROR_LOG_SD = (0.35, 0.6, 1.0, 1.7, 2.9), 0.45
"""Sizes of the errors of one owner's checks over the usual ones, and the spread of their logarithm: careful people err
by half of it, careless ones by twice. Doubled, two runs leave a dial known half as badly again."""

CHECK_STRETCH_SHARES, CHECK_STRETCH_ODDS, CHECK_CUT_SHARE = (0.3, 0.8, 2.5), (0.5, 0.4, 0.1), 0.3
"""What the miles of one stretch share, in variances of a reading, its odds, and the chance that a truth was cut off."""

UNCHECKED_DIAL_U = 0.02
"""How far a dial may be from its odometer, relative and standard: -1 to +4 % of SAE J2976 (read in a secondary text)
are 1.5 % high, give or take 1.25. Doubled, the gear is half as sure."""

FEWEST_CHECKS, FEWEST_CHECKS_TO_DOUBT, CHECK_WRONG_FROM = 2, 5, 5.0
"""Checks that give an answer, and that let one be held against the others; standard uncertainties of a slip of the pen.
With one check, all would rest on the prior of the offset."""
CHECKS_ALONE = 1 / 4
"""Largest share of the checks that may be slips where a straight dial goes through the others, each by itself; one
always may. With more of them a dial that bends is likelier (our own judgment). Without it, one of twelve phone readings
that was 10 mph wrong bent one dial in twelve, and the factor came out wrong and sure."""

ODOMETER_STEPS_U = 0.41
"""Standard uncertainty of a difference of two odometer readings in steps: two roundings of 1/sqrt(12) each."""

# ---- readings

FEWEST_READINGS = 4
"""Readings without which a line and its doubt cannot be told."""

ABSURD_READING_MPS = 150.0
"""No road vehicle's dial shows this."""

SLOWEST_DRIVE_MPS = 5.0
"""A drive whose fast part is slower than this is a walk."""

WRONG_BETA = 1.0, 8.0
"""Share of wrong readings before any is seen: a beta density, one in nine on average."""

SLIP_MPS = 10 * MPH_MPS
"""By how much a reading that was written down wrongly is off, standard: a digit, five or ten, from memory. Halved or
doubled, the odds of a slip are doubled or halved."""

# ---- odometer

ODOMETER_SHORTEST_M = 1500.0
"""Shortest distance that tells an odometer's factor."""

ODOMETER_MOST_M = 1e11
"""No vehicle goes a hundred million kilometers: a larger number is no odometer. [m]"""

ODOMETER_MOST_FACTOR = 5.0
"""An odometer that rises faster than this many times the way travelled was put back or misread."""

ODOMETER_PAIRS_OF = 200
"""Readings whose pairs are compared, for the time it takes."""

ODOMETER_STANDS_S, ODOMETER_STANDS_STEPS = 5.0, 3.0
"""Read again within this time without a new figure, an odometer is one reading; driven for so many steps as written
without one, its step is taken from its rises. [s, 1]"""

SAME_WHEELS = 0.12
"""How far odometer and speed may differ in a vehicle; miles and kilometers differ by 0.61."""
ODOMETER_LEAST_U_M = 1.0
"""Least standard uncertainty of a distance read."""

ODOMETER_WRONG_FROM, ODOMETER_SLOPE_SLACK = 5.0, 0.01
"""Standard uncertainties, and share of the way, by which a reading may leave the median line."""

# ---- judgment

FEW_READINGS, FEW_RUNS, NARROW_RANGE, SAME_LEVEL_MPS = 8, 3, 1.3, 1.5
"""Below these counts an answer is weak; speeds whose ends have a smaller ratio are one speed; levels nearer than this
are one level. Common practice, no source."""
OTHER_SPEEDS = 0.8, 1.2
"""The slowest and the fastest of speeds too alike, times these, are what to drive besides. What a road allows; it
changes no answer."""

FEWEST_LOGGED, SLOWEST_LOG_S, EVEN_STEP, EVEN_STEPS = 60, 15.0, 0.05, 0.7
"""So many readings come from a machine where they follow each other faster than a hand notes them; or up to so many
seconds apart, more than this share of them as evenly as this share of a step, as no hand does. Our own judgment: notes
every ten seconds by a watch that is looked at are less even, and are notes."""

HURRIED_HAND_S, MOST_BY_HAND = 1.9, 500
"""Shortest usual time between the notes of a hand in a hurry, of which there are not so many. Our own judgment."""

DENSE_LEVELS, DENSE_SHARE = 6, 0.05
"""So many levels with such a share of the rows of a log each tell a dial without any run of one speed. Ramps between
two speeds that are held come to 0.04, and the two may be rounded alike at every visit."""

MANY_WRONG = 0.33
"""Share of wrong readings beyond which the file is doubted. Of notes of which 30 and 38 % are wrong, by slips, factors
are held in 0.97 and 0.98 of 160; of those with 45 % in 0.89."""

WIDE_SHARE, WIDE_MPS = 0.025, 1.25 * MPH_MPS
"""A half width larger than both, as a share of the speed and in m/s, decides no gear: half of one in twenty teeth is
2.5 %, at 50 mph 1.25 mph. At 1.0 mph a fifth of sound notes of multiples of five would be weak."""
VIEW_NOTICED = 0.25
"""Share of the variance that the angle of view makes, above which more readings cannot halve an interval: half of it is
a quarter of the variance. Then the view is named and no more readings are asked for."""
STEPS_NOTICED = 0.5
"""The same of the steps that readings were noted in: finer ones tell more than others like them."""

STANDS_MPS, MOVES_MPS = 1.0 * MPH_MPS, 10.0 * MPH_MPS
"""Readings of a drive that was refused anyhow, all within the first while the middle eight tenths of the drive span the
second, are of a needle that stands; doubled or halved, only the words of that refusal change. Our own judgment."""

FOLLOWS_MPS = 2.0 * MPH_MPS
"""Readings that scatter more than this do not belong to the track: right ones scatter by half a mph to one, those of
another drive by three or more (simulated drives)."""

UNIT_CHANGE_FROM_MPS, UNIT_CHANGE_FEWEST, UNIT_CHANGE_PART = 8.0, 6, 0.05
UNIT_CHANGE_WITHIN, UNIT_CHANGE_NEAR, UNIT_CHANGE_SHARE = 0.06, 0.12, 0.85
"""Speeds from which on readings tell their unit, how many of them and what share stand on either side of a change of it
(where the positions of a recorded drive set in six rows were off by a half); how near to the factor between the units
they change, and how many of them lie how near to the middle of their side, as logarithms. Our own judgment: nothing
else on a drive changes by 1.61 for good."""

MILES_KILOMETRES_TOLERANCE, KILOMETRES_HIGH_TOLERANCE = 0.16, 0.21
"""A dial that is off by up to this much and was noted in the other unit is asked about; one that reads high and was
noted in km/h by up to the second. A third high and a quarter low, gears alone may make a dial; nine tenths high only a
wrong pulse count does, and gears that are off besides."""

AS_GPS_WITHIN, AS_GPS_WITHIN_MPS = 0.01, 0.04
"""A log that is right so surely, at all speeds, may be one of GPS speed, which its interval may miss by as much again.
Our own judgment: dials within half a per cent are one in ten or fewer. Twice as much would say so of logs that tell
nothing of the kind."""

BESIDE_TRACK_NOTICED = 0.1
"""Share of the readings from which on it is told that the track has no speed for them. Our own judgment."""

ROUNDED_DOWN_FROM_MPS, ROUNDED_DOWN_STEPS = 3.0 * MPH_MPS, (0.25, 0.9)
"""Steps of notes, and how many of them a needle seems to sit low, that make it a question whether the mark below was
noted. By the belief of needles, and of one person in ten who does so, every third such file is of one."""

OFFSET_UNKNOWN_MPS = 1.0 * MPH_MPS
"""Standard uncertainty of the offset from which on the answer is said to rest on its prior."""

CLOCK_FAR_S = 300.0
"""A clock that is off by more is worth a word."""

# ---- the budget

TIRE_STATE_U = 0.002
"""Relative standard uncertainty from one day to another: pressure, temperature and load of the tires; from memory."""

WRONG_SPREAD_MPS = 40.0
"""A wrong reading is anything in this range, all values alike."""

WRONG_BELOW = 0.5
"""Probability of being right below which a noted or logged reading is called wrong and left out. Doubled, all are."""

FEWEST_FALLS, FALLS_APART_S, FALLS_LAST_S, FALLS_BELOW = 2, 5.0, 3.0, 0.8
"""Spells in which a logged needle stands low from which on it is said to fall, time between two spells and of one, and
share of the wrong rows that lie in them. A row alone may be a broken one."""

FALLS_BY_CHANCE = 0.07
"""Chance at which noted readings that are wrong either way alike would be so one-sided: four of four low, six of seven.
It costs a sentence only."""

TIGHT_FAR_SHARE, TIGHT_SCATTER_MPS = 0.2, 0.8 * MPH_MPS
"""Readings of which no more are farther from one dial, and that scatter no more about it, are not called loose: the
drive tells too little of whose they are. Our own judgment; it changes words only."""

LOOSE_NEAR_MPS, LOOSE_SPREAD_SHARE = 1.0 * MPH_MPS, 0.3
"""How near to one dial readings count as lying on it, where too few do for a number, and scatter, as a share of the
spread of the speeds shown, up to which they are said to follow the track although no dial explains them. Those of
another drive scatter by 0.4 and more."""
