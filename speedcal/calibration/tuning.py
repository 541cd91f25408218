"""Every number of the calibration that is a choice: its unit, where it comes from, what happens when it is doubled."""

from __future__ import annotations

from speedcal.units import MPH_MPS

# ---- the dial

OFFSET_PRIOR_MPS = 1.5 * MPH_MPS
"""Standard deviation of a pointer's constant error before a drive is seen. Common practice, no source: pointers sit
within a mph or two. Doubled, notes at few speeds get factors half as wide again."""

OFFSET_SIZES_MPS, OFFSET_SHARES = (OFFSET_PRIOR_MPS, 5 * MPH_MPS), (0.9, 0.1)
"""The same for notes, with needles that were put on wrongly: the first alone makes factors 2 % too large for them."""

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

ODOMETER_STEPS_U = 0.41
"""Standard uncertainty of a difference of two odometer readings in steps: two roundings of 1/sqrt(12) each."""

# ---- ground speed

FEWEST_FIXES = 10
"""Fixes that a track needs; fewer tell no speed."""

GAP_S, GAP_INTERVALS = 3.0, 3.0
"""A pause longer than both, in seconds and in usual intervals, is a gap; nothing is interpolated over it. Doubled,
a tunnel would be bridged by a straight line."""

LONGEST_TRACK_S, DAYS_OF_READINGS_S, MOST_OF_TRACK = 30 * 86400.0, 7 * 86400.0, 0.9
"""A track that runs for longer has fixes of other times, which are left out when they lie so far from the readings, or,
where those state no date, when all the rest lies together. A million seconds are 11 days; a year asks for gigabytes."""

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

GRADE_REACH_M, STEEPEST_GRADE, HEIGHTS_NEEDED = 80.0, 0.2, 0.8
"""Grades are those of the road so far to either side; they are cut off at this; this share of fixes must have a height.
Half the reach takes noise of the heights for hills, twice flattens hills."""

GRADE_SHARE_U = 0.15
"""Standard uncertainty of the extra length of hills as a share of it, heights given."""

NO_HEIGHTS_U = 0.0002
"""Relative standard uncertainty of the length of a road without heights: grades of 2 % make it 0.02 % longer than the
map, grades of 7 % 0.25 %. Tripled, logs without heights are a fifth wider, and mountains still are not in it."""

HILLS_NOTICED = 0.1
"""Share of the variance from which on missing heights are named."""

STRETCH_S, STRAIGHT_CHORD, STRAIGHTEST_CHORD = 10.0, 0.97, 0.9995
"""Recorded speed is held against positions over stretches this long whose chord is at least this share of the way over
their middle: for its unit, and for its scale, of which bends eat 0.07 % at the most (an arc's own: theta^2/24)."""

BENDS_LEFT_U = 0.0008
"""Relative standard uncertainty of the way over a straight stretch, for bends and wobbles shorter than a quarter of it.
Without it whole km/h that were rounded pass for cut ones and the other way round, in one drive of a hundred."""

UNIT_TOLERANCE, SPARSE_UNIT_TOLERANCE = 0.1, 0.35
"""Recorded speed over that of positions: so near to the factor of a unit, or so at sparse fixes, it is that unit."""

SPEED_DISAGREES, SPEED_DISAGREES_SIGMAS = 0.006, 6.0
"""Recorded speed that is so far off from the positions, so plainly, is not the receiver's. On drives made apart from
ours receivers agree to 0.2 %, phones to 1.6 % at 3 sigma; a vehicle's own speed is 1 % off at 10 and more."""

IMPOSSIBLE_SPEED_MPS, IMPOSSIBLE_ACCELERATION, POSITION_SLACK_M = 110.0, 15.0, 25.0
"""What no road vehicle does; a step longer than these allow, and the slack, is a jump of the receiver."""

SPIKE_MPS, SPIKE_ACCELERATION = 6.0, 4.0
"""A recorded speed this far from the median of its neighbours, and this more a second between fixes, is a spike."""

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

ODOMETER_MOST_FACTOR = 5.0
"""An odometer that rises faster than this many times the way travelled was put back or misread."""

ODOMETER_PAIRS_OF = 200
"""Readings whose pairs are compared, for the time it takes."""

ODOMETER_STANDS_S, ODOMETER_STANDS_STEPS = 5.0, 3.0
"""Read again within this time without a new figure, an odometer is one reading; driven for so many steps as written
without one, its step is taken from its rises. [s, 1]"""

ODOMETER_LEAST_U_M = 1.0
"""Least standard uncertainty of a distance read."""

SPARSE_FROM_S = 8.0
"""Fixes this far apart and more tell the way by their positions: a speed every 10 s says little of what lies between.
Doubled, a fix in ten seconds would give distances off by a per cent in towns."""

CHORD_LOSS_LEAST, CHORD_LOSS_MOST = 0.33, 1.3
"""What straight lines between fixes lose, as a share of what lines over every second fix lose more than they. A
smooth bend loses 1/3 (arithmetic: the loss grows with the square of the length), corners in towns all of it and
more."""

CHORD_GROWTH_OFF = 0.5
"""That share is 1/(r - this), r the growth of the loss from every second to every fourth fix. From 120 simulated drives
on highways, usual and winding roads and in towns at one fix in 10, 30 and 60 s; 1 would hold for one power of the
length over all of them."""

CHORD_LOSS_U = 0.5
"""Standard uncertainty of that share, in shares of its square: the more corners, the less is known. From the same
drives. Doubled, sparse odometers are told half as well."""

STANDING_CHORD_M = 30.0
"""A shorter line between two fixes at a standstill is the receiver's wandering."""

ODOMETER_WRONG_FROM, ODOMETER_SLOPE_SLACK = 5.0, 0.01
"""Standard uncertainties, and share of the way, by which a reading may leave the median line."""

TRACK_LENGTH_U = 0.0005
"""Relative standard uncertainty of the measured length of a drive; from memory."""

# ---- judgment

FEW_READINGS, FEW_RUNS, NARROW_RANGE, SAME_LEVEL_MPS = 8, 3, 1.3, 1.5
"""Below these counts an answer is weak; speeds whose ends have a smaller ratio are one speed; levels nearer than this
are one level. Common practice, no source."""

DENSE_LEVELS, DENSE_ROWS = 6, 10
"""So many levels with so many rows of a log each tell a dial without any run of one speed."""

MANY_WRONG = 0.33
"""Share of wrong readings beyond which the file is doubted. Of notes of which 30 and 38 % are wrong, by slips, factors
are held in 0.97 and 0.98 of 160; of those with 45 % in 0.89."""

WIDE_SHARE, WIDE_MPS = 0.025, 1.25 * MPH_MPS
"""A half width larger than both, as a share of the speed and in m/s, decides no gear: half of one in twenty teeth is
2.5 %, at 50 mph 1.25 mph. At 1.0 mph a fifth of honest notes of multiples of five would be weak."""

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

NODE_S, MINUTE_NODE_S = 0.25, 1.0
"""Step of the moments at which a noted reading may have been taken, for stamps to the second and to the minute.
Doubled, the answer moves by a quarter of its interval with where the nodes happen to lie."""

HAND_STEPS_S = (30.0, 15.0, 10.0, 5.0)
"""Steps to which people round the times they write, when all of them lie there. Taken for seconds, half of the notes to
the half minute looked like those of two people with two watches."""

CELL_S, MINUTE_CELL_S = 0.5, 2.0
"""Step of the clock offsets that are weighed, for stamps to the second and to the minute. A passenger's stamps err by
1 s; clocks told by minutes are known to some 5 s."""

CELL_REACH_S = 8.0
"""Clock offsets are followed this far to either side of a peak of the search, whose own step is 2 to 3 s."""

WRONG_SPREAD_MPS = 40.0
"""A wrong reading is anything in this range, all values alike."""

WRONG_BELOW = 0.5
"""Probability of being right below which a noted or logged reading is called wrong and left out. Doubled, all are."""

LOG_WRONG_FROM, LOG_LAG_S = 5.0, 0.3
"""Scatters, and seconds of the change of speed, by which a plain log may leave the line: its needle may lag."""

STOP_ROWS, STOP_SHARE, STOP_SPREAD_STEPS, STOP_SPREAD_MPS = 10, 0.7, 1.5, 0.4
"""The needle lies at a stop when so many rows, and such a share of all beyond, show the end of the scale at speeds so
many steps, and so much for lags, apart. Half the spread costs honest logs their fastest rows."""

STOP_BROKEN = 0.02
"""Share of rows that may be broken, and lie beyond an end of the scale. At 1 % broken rows an end was never found."""

STOP_NEAR_MPS, STOP_BEYOND_MPS = 8.0, 0.25
"""Rows so near to the end of the scale say at what speed it is reached; a needle that lies on a pin while one speed is
driven stands farther out than that by so much beside those steps. Of 320 sound logs in km/h one came to 0.5 m/s, of 80
in mph one to 0.6, dials with a bend of 1.5 mph to 0.12; at one step a log of held speeds in mph lost its fastest."""

STOP_SETTLED_SPREAD, STOP_SETTLED_BEYOND = (1.0, 0.25), (0.5, 0.2)
"""The same in steps and m/s where a fit has settled the clock: rows that are only rounded spread over one step, and
their middle lies within half of one. Of 300 sound logs made apart none spread by more than 0.06 m/s beyond, or lay so
far out, but for displays that hold on to a figure, at 0.16. Doubled, pins just beyond which one speed is driven are
missed."""

STOP_EDGE = (0.5, 0.1)
"""So many steps and m/s before the speed at which a stop is reached rows are left out, too. Without, factors of dials
with two stops are 0.09 % too small on average, with it 0.04 %; at three times as much they scatter by a fifth more."""

FEWEST_NOTES_AT_STOP = 4
"""The same of notes, at two figures of which speeds differ by three steps: at 60 mph nobody misreads so four times."""

REST_FACTOR_U, REST_EVIDENCE = 0.15, 2.3
"""What a needle at its stop takes back of the rise of the readings, relative and standard about all of it, and log
odds (10 to 1) from which on notes are taken as of one. Of 1,860 files of needles that do not stop two come to them."""

LONG_STEP_S = 10.0
"""Half width of the moments of a reading from which on they tell neither a stop nor two watches."""

CHANGE_BLOCK_S, CHANGE_LEAST = 20.0, 0.015
"""A needle or a hill errs alike for less than the first; a part of a log that is so far off has a cause."""

CHANGE_TOLD, CHANGE_SIGMAS = (CHANGE_LEAST, 0.003), (8.0, 6.0)
"""Changes of a part, and drifts over all of a log, that are told and widen the answer, and how plain they must be. Made
apart from ours, parts of honest logs differ by up to 0.6 % at 9 sigma, slip of 3 % or another tire at 30; they drift by
up to 4 sigma, with tires that warm up by 1.5 % at 13."""

STEADY_WINDOW_S, STEADY_ACCELERATION_MPS2 = 5.0, 0.35
"""Over so long, below such a change of speed, lags do not matter."""

LATENT_WRONG_FROM, LATENT_LATE_S = 6.0, 2.5
"""The same beside recorded speed, where damping is fitted and a lag may be longer."""

WRONG_BETA, WRONG_NODES = (1.0, 8.0), 9
"""Share of wrong readings before any is seen: a beta density, one in nine on average, and its number of nodes."""

SCATTER_MPS, SCATTER_LOG_SD = 0.27, 0.6
"""A pointer is read to about 0.6 mph (0.27 m/s), within a factor of two either way; from memory."""

SCATTER_NODES_MPS = (0.1, 0.165, 0.27, 0.45, 0.73, 1.2)
"""Scatters that are weighed, even steps of the logarithm; half the step changes no answer by a tenth of its width."""

FIRST_SCATTER_MPS = 0.4
"""Scatter at which clock offsets are first compared: somewhat wide, so that none is lost."""

CRAWL_SD_MPS = 2.0
"""How well a reading follows a vehicle that stands or crawls; it dates the reading and says nothing of the line."""

LN_FACTOR_SCALE, LN_FACTOR_FREEDOM = 0.10, 3.0
"""Student's t of the log of the error factor, for telling whether readings belong to a track; nowhere else. Doubled,
four in a hundred more foreign notes pass."""

TRACK_KERNEL_SHARE, TRACK_KERNEL_MPS, TRACK_UNIFORM = 0.06, 1.5 * MPH_MPS, 0.02
"""Readings taken nobody knows when are the speeds of the track, this much wider, and a little of anything."""

NOTES_KERNEL_MPS, NOTES_UNIFORM = 3.0 * MPH_MPS, 0.1
"""What one reading is like when the others are known and the track is not."""

UNRELATED_LASTS = (0.5, 0.9)
"""Chance that a reading of a strange drive is like the one just before it."""

UNRELATED_MEMORY_S = (8.0, 30.0, 100.0)
"""Time in which that chance falls to a third."""

UNRELATED_STEP_MPS = tuple(step * MPH_MPS for step in (1.0, 2.5, 6.0))
"""What alike means, standard deviation. The three together, from trials on crossed pairs of drives: foreign notes pass
less than once in ten thousand; readings taken as independent draws let 42 % of the same road on another day pass."""

LEAST_MINUTE_STEP_S = 18.0
"""Least time between two readings stamped with one minute, as the chain counts it: even spread over 60 s."""

LINE_SCATTERS_MPS = (0.1, 0.18, 0.32, 0.57, 1.0)
"""Scatters of a reading about the dial that are weighed, beside rounding."""

RUN_SHARES, RUN_SHARE_ODDS = (0.0, 0.4, 0.8), (0.6, 0.3, 0.1)
"""Parts of a reading's variance, its rounding included, that all readings of one steady run share, and how likely each
is before it is seen. Without them triples of notes in one hold count as three: coverage 0.82 in place of 0.92."""

PLAY_MPS = 0.5 * MPH_MPS
"""Half the play of a pointer that hangs behind. Common practice, no source."""

PLAY_SIZES_MPS, PLAY_SHARES = (0.1 * PLAY_MPS, 0.7 * PLAY_MPS), (0.5, 0.5)
"""How far a pointer hangs, standard deviation, and how likely each is before it is seen."""

ASSOCIATION_FROM = 6.9
"""Log odds that readings belong to a track from which on they get a number: 1,000 to 1. On simulated drives foreign
notes pass less than once in a thousand, and of honest ones only those of four or five readings fail."""

LOOSE_SCATTER_MPS, LOOSE_EVIDENCE, MUCH_COVERED = 1.4 * MPH_MPS, 25.0, 0.75
"""Readings that scatter this much about a recorded speed have to belong to it with such odds at the least; those that
do not show that they belong are told of the gaps where less of the drive has a speed."""

LOOSE_A_LOOK, SAME_LOOK_S = 2.8, 15.0
"""Log odds that each look at the dial, if it is right, must add for each m/s of scatter about the dial, and the time
within which readings are of one look. Notes of the same road on another day follow the track, but loosely: of 1,800
such files 13 get a number, 27 at 2.2, without it one in fifteen. Sound files are not refused for it, of those with a
third wrong one in sixty, and one in ten of those whose needle trembles by 2 mph. Not asked of readings to coarse marks,
of which one in fifty was refused."""

COARSE_U_MPS, MARKS_EVIDENCE = 0.35, 3.0
"""Rounding from which on, standard, and log odds (20 to 1) at which readings are taken as noted with the needle on its
marks, and not as rounded to them."""

HEAP_STEPS, HEAPED_SIGMAS, HEAPED_EVIDENCE = 5, 2.0, 1.0
"""Steps to whose multiples people round besides, standard deviations of chance from which on more readings lie there,
and log odds from which on they are taken as rounded, and not as noted with the needle held on its marks."""

JUMPS_ASKED_FROM, JUMPS_EVIDENCE, MOST_JUMP_MPS = 2.5, 1.5, 4.0 * MPH_MPS
"""Log likelihood ratio of two scatters against one from which on a needle that jumps below some speed is asked after,
log odds from which on it is believed, and how far one jumps. Factors of needles that jump by 2.5 mph below 35 are held
in 0.9 in place of 0.6; of 1,500 files of others one with a third wrong is refused for it."""

JUMPS_LOOSE = 0.6
"""Part of those jumps that counts as scatter where readings must show that they belong. At 1 a third of such files are
refused; at 0 two in a hundred of the same road on another day get a number in place of one."""

FOLLOWING_SHARE = 0.5
"""Least share of the readings on the track that has to follow it."""

CLOCK_DOUBT = 0.05
"""Posterior mass of far clock offsets with another answer from which on none is given."""

CLOCKS_KEPT = 4
"""Groups of clock offsets that are carried to the dial."""

FAR_CLOCK_S = 25.0
"""Clock offsets further apart than this are two answers, not one that is a little uncertain."""

LEAST_RIGHT = 0.3
"""Readings that are right with less than this probability stay out of the dial. At 0.05, with one in
eight wrong, rms is 6 % larger."""

MOST_DRAWN = 0.6
"""Most of a reading's residual that its own choice of moment is taken to have hidden."""

CLUSTER_S = 4.0
"""Readings outside of steady runs that follow each other sooner than this share an error like those of one run."""

HOLD_STEP_MPS, HOLD_PART_S, HOLD_SETTLING_S = 1.1, 10.0, 6.0
"""A steady run of two levels this far apart, each this long, is two holds; the first seconds of a hold still settle."""

HOLD_SCATTER_MPS, HOLD_LOG_SD = 0.6 * MPH_MPS, 0.4
"""A driver holds the needle on a mark to about 0.6 mph on average over the hold; from memory."""

HOLD_SCATTERS_MPS = tuple(HOLD_SCATTER_MPS * factor for factor in (0.4, 0.63, 1.0, 1.6, 2.5))
"""Scatters of a hold that are weighed."""

HOLD_SPREAD_SHARE = 0.5
"""A hold in which the speed itself wanders tells its mark less well, by this part of the wandering."""

HELD_TAIL_SHARE, HELD_TAIL = 0.08, 4.0
"""Part of the holds that are kept badly, and by how much worse."""

HOLD_SKIPPED, HOLD_SKIPPED_SHORT, HOLD_LONG_S = 0.15, 0.5, 25.0
"""Chance that a steady run was not noted: a long one seldom, a short one often."""

NOTE_MISSED, NOTE_REPEATED = 0.05, 0.5
"""Chance that a noted mark has no hold, and that a mark listed twice running was one hold."""

HELD_REPEAT_MPS = 1.0 * MPH_MPS
"""What a repeated mark is like: the one before it, give or take this, as in the chain of strange readings."""

HELD_FACTORS = tuple(0.70 + 0.012 * k for k in range(60))
"""Error factors from which the assignment of a list is sought."""

ORDER_DOUBT = 0.2
"""Posterior mass of other assignments of a list, with another dial, from which on no answer is given; from CLOCK_DOUBT
on it is weak, and its interval spans them."""

HOLD_APART_S = 60.0
"""Time between two holds, for the chain of strange readings."""

MOST_LISTED, MOST_NOTES = 500, 300
"""Speeds without times of which a list is taken for one: a log that lost its times is none. Notes that are used, evenly
chosen of more: rows so far apart or so unordered that they are no log say little more, and cost by the square."""

FEWEST_HELD, HELD_MATCHED_SHARE, MOST_NOTES_A_HOLD = 4, 0.6, 2
"""What a list needs: marks and holds, share of the notes that find a hold, and not more marks than this for a hold."""

HELD_LIKELIER_FROM = 2.3
"""Log odds below which a list gets no number at all: 10 to 1. Own lists have 7 and more, those of other drives 0."""

ONE_OUT_OF_ORDER = 1
"""Marks out of order with which a list still counts as one that only rises or falls. At 2, one shuffled list of seven
in fourteen would."""

SLOW_NEEDLES_S, SLOW_NEEDLE_FROM, SLOW_NEEDLE_EVIDENCE = (2.2, 4.0), 1.0, 4.0
"""Time constants of needles that notes are held against, standard errors by which they must lie on the way to them, and
log odds (55 to 1) from which on one is believed. Notes of a needle damped by 4 s gave factors 0.8 % low; of sound ones
at most one in a hundred comes to these odds."""
