"""What of the track is a choice of the calibration, as in :mod:`speedcal.calibration.tuning.general`."""

from __future__ import annotations

FEWEST_FIXES = 10
"""Fixes that a track needs; fewer tell no speed."""

ON_LINE_STEPS, OFF_LINE_STEPS, FEWEST_TURNS, TURNS_BESIDE_LINES = 1.5, 6.0, 20, 0.5
"""Steps of what positions are written in: up to so many a fix lies evenly between its neighbours (rounding makes 0.3,
1.4 at the most), from so many on a line ends there. A program put fixes between where so many and such a share of these
ends have a fix on a line beside them. Of tracks as recorded, made apart from ours, 0 to 0.03 do, of those made over 0.8
to 1. Taken for fixes, a fix in 2 s out of every 5 s left factors 1 % low and not one of four held."""

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

HILLS_LOSE = 0.1
"""Share of the extra length that hills lose when grades are taken over twice the reach: 5 to 10 % on mountain roads. Of
a rough model of the land half goes; what goes beyond is uncertain. At 0 hills of half a kilometer are a sixth wider."""

GRADE_SHARE_RESTED_U, CLIMB_REACH_S, FEWEST_AT_REST, STANDING_MPS = 0.06, 4.0, 10, 0.5
"""The same where so many fixes at rest, slower than the last, tell how fast heights wander by themselves, a slope over
so long to either side. Smooth heights err by 0.03 of hills of half a kilometer and by 0.12 of those of 150 m. Heights
that wander by 12 m in 30 s add 0.04 % to a road: taken for hills, they were stated to a third of that."""

NO_HEIGHTS_U = 0.0001
"""Relative standard uncertainty of the length of a road without heights: grades of 1.4 % make it 0.01 % longer than
the map, grades of 7 % 0.25 %. Doubled, readings of logs without heights are a fifth wider; however large, mountains are
not in it."""

HILLS_NOTICED = 0.1
"""Share of the variance from which on missing heights are named."""

LEGS_OF_SPEED, SAME_NOISE, FEWEST_SAME_NOISE = 7, 0.2, 60
"""Steps between positions that an app works a speed out of at the most, the share of its noise that they may leave
unexplained, and how many fixes tell. Receivers' own speeds leave eight tenths and more."""

LONG_MEAN_S, NOISY_SPEED_MPS = 1.5, 0.3
"""Such a speed is left for the positions where it is a mean over so long, which comes late and takes the tops off, or
where it has so much noise, which the way over several fixes has not."""

STRETCH_S, STRAIGHT_CHORD, STRAIGHTEST_CHORD = 10.0, 0.97, 0.9995
"""Recorded speed is held against positions over stretches this long whose chord is at least this share of the way over
their middle: for its unit, and for its scale, of which bends eat 0.07 % at the most (an arc's own: theta^2/24)."""

AS_NEAR_S = 1e-3
"""Two fixes are as near to a moment. Whole seconds are so often."""

BENDS_LEFT_U = 0.0008
"""Relative standard uncertainty of the way over a straight stretch, for bends and wobbles shorter than a quarter of it.
Without it whole km/h that were rounded pass for cut ones and the other way round, in one drive of a hundred."""

COUNTED_ANEW_WITHIN_S = 2 * 86400.0
"""How near to whole counts of 1024 weeks a track lies before its readings, for its date to be a receiver's that began
to count anew: a zone, and a drive over midnight. Of drives years apart one in 1800 lies so by chance."""

UNIT_TOLERANCE, SPARSE_UNIT_TOLERANCE = 0.1, 0.35
"""Recorded speed over that of positions: so near to the factor of a unit, or so at sparse fixes, it is that unit."""

SPEED_DISAGREES, SPEED_DISAGREES_SIGMAS = 0.006, 6.0
"""Recorded speed that is so far off from the positions, so plainly, is not the receiver's. On drives made apart from
ours receivers agree to 0.2 %, phones to 1.6 % at 3 sigma; a vehicle's own speed is 1 % off at 10 and more."""

ALIKE, ALIKE_WORTH, MOST_ALIKE = 0.1, 20.0, 0.7
"""Correlation of what positions err by over half a minute and the next, for how many of them what is believed before
counts, and the most. On drives made apart 0.1 to 0.4, of real receivers 0 to 0.2. Without it the middle of open drives
is off by 1.4 of what it is said to be known to."""

DIFFERING, DIFFERENCES, LEAST_DOUBT = 0.25, (0.002, 0.01, 0.04), 1e-4
"""Share of the receivers whose recorded speed is not that of their positions, by how much (relative, standard), and
what is too little to be counted. Of eleven receivers that nobody of us made, one differs by 0.17 % on a motorway and
two by 2 to 4 % in towns. Logs beside phones, whose positions tell least, are 1.08 times as wide for it on the mean
(with 0.5 1.28 times), logs beside good receivers 1.01 times."""
UNCHECKED_RECEIVER_U = 0.004
"""Relative standard uncertainty of a receiver's speed that has no positions beside it: what the lesser two differences
above come to, rms. The largest is one of towns, and comes of a speed that lags, which a log shows by itself."""

IMPOSSIBLE_SPEED_MPS, IMPOSSIBLE_ACCELERATION, POSITION_SLACK_M = 110.0, 15.0, 25.0
"""What no road vehicle does; a step longer than these allow, and the slack, is a jump of the receiver."""

UNEVEN_FIXES = 0.2
"""Share of steps that differ from the usual one from which on fixes in whole seconds are stamped as they come, late by
up to one. Taken as they stand, one such track in six is cut where two fixes come late and soon, and the speed about the
cut is off by 10 mph."""

SPIKE_MPS, SPIKE_ACCELERATION = 6.0, 4.0
"""A recorded speed this far from the median of its neighbours, and this more a second between fixes, is a spike."""

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

TRACK_LENGTH_U = 0.0005
"""Relative standard uncertainty of the measured length of a drive; from memory."""

WAY_KNOTS_S, WAY_REACH_S, WAY_ROUNDS = 2.0, 8.0, 8
"""Knots of the way that only positions tell, how far to either side of one accelerations are alike, and rounds in which
they are learnt. Knots 3 s apart do as well where fixes are late by parts of a second, and cut the ramps where not."""

WANDER_OF_FIXES_M = 3.0
"""By how much fixes whose speed is recorded lie off the way, at the least: positions wander slowly, and between high
walls by more. At 1 m notes beside fixes 10 and 15 s apart are refused twice as often, and in canyons held in 0.95 in
place of 0.97; at 6 m the way would hardly count."""

CORNERS_FROM_S = 2.5
"""Fixes this far apart and more cut corners (on winding roads 0.2 % at 3 s, 0.5 % at 5 s); nearer ones lengthen the way
by their noise."""

USUAL_WAY_ACCELERATION, LEAST_WAY_ACCELERATION, MOST_WAY_ACCELERATION, WAY_POOL, WAY_LEARNT = 0.25, 0.1, 2.5, 1.0, 0.5
"""Accelerations that are expected at each knot before the drive is seen, in m/s^2, by how many knots' worth, and which
share of the geometric mean of all is expected if it is more. At 1 m/s^2 speeds from fixes every 1 to 3 s with late
stamps are off by 0.7 m/s in place of 0.5; with no least size uncertainties are a fifth too small; unlearnt, they are
half of what they should be on winding roads."""

FIX_NOISE_REACH, FIX_NOISE_POOL, LEAST_FIX_NOISE_M = 15, 30.0, 0.05
"""How far fixes lie off is learnt from so many to either side, and from all with the weight of so many; the least."""

STEADY_MPS2, STEADY_REACH_S, STEADY_S = 0.2, 5.0, 12.0
"""A run is steady where the means over so many seconds before and after each fix differ by less than this a second, for
so long. Common practice, no source. Half or twice the first, or half the last, moves the half widths of lists of held
speeds by 1 %; runs twice as long, 7 % where holds were not listed."""

STEADY_FROM_MPS, SAME_RUN_MPS = 4.0, 1.0
"""No run is slower, and two of nearer speeds, a wobble apart, are one. Doubled, and the second halved, half widths of
lists and notes stay as they are to 1 %."""
