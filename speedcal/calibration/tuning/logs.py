"""Every number that is a choice about dense logs: its unit, where it comes from, what happens when it is doubled."""

from __future__ import annotations

from speedcal.units import MPH_MPS

DAMPING_U_S2 = 1.5
"""Standard deviation of half the squared time constant of a needle or a receiver before a log is seen; 1.7 s. Doubled,
nothing changes: a log tells it to 0.1."""

DAMPING_FROM = 5.0
"""Standard deviations from which on damping is believed. Undamped logs reach 2.5 and phones 4; a lag of 0.8 s comes to
5 and turns a factor by 0.04 % when it is overlooked, one of 1.5 s to 11. Fitted where there is none, it takes a fifth
of what a log tells of the factor."""

HEAVY_DAMPING_S, HEAVY_DAMPING_GAIN = (1.5, 2.2, 3.2, 4.6, 6.7), 0.8
"""Time constants that are tried to start from, even steps of the logarithm, and how much nearer one must bring a log to
its track. Started at none, the fit of a receiver that smooths by 4 s stops short: factors 0.6 % off."""

HEAVY_DAMPING_FROM, HEAVY_LATE_S = 1.6, 4.0
"""Tried where a log lies off its line so much farther than its noise, on rows no later than the second."""

TRACKING_RATES_PER_S, TRACKING_RATIOS = (0.15, 0.2, 0.27, 0.36, 0.48), (0.4, 0.55, 0.75, 1.01, 1.35)
"""Natural frequencies and damping ratios from which the filter of a receiver that overshoots is looked for. Quicker
ones, which a needle damped by 1.5 s resembles, go by as damping."""

TRACKING_FROM, TRACKING_MATCH, TRACKING_NEAR, TRACKING_U = 1.3, 0.75, 2.2, 0.02
"""How far, in shares of its noise, a log must lie off what smoothing of the first order explains before such a filter
is looked for, how much nearer that must bring it, how near in shares of the noise, and the standard uncertainty of what
it is found to do, as a share. Logs beside such receivers come to 0.2 to 0.8 and 1.0 to 1.8, those of damped needles to
0.87, of the car behind to 0.78 and 6. At an uncertainty of none factors are held in 0.6 to 0.8."""

KALMAN_RATIO = 0.707
"""Damping ratio with which a settled Kalman filter of place and speed follows: 1 over the root of 2, arithmetic."""

EVEN_MEAN_FROM_S2, EVEN_MATCH, EVEN_MEAN_U = 1.2, 0.9, 0.1
"""A receiver damped by so much (1.5 s) gives means where a log that is averaged comes so much nearer than one smoothed
as by the first order: to 0.35 to 0.75 beside means of 10 s, to 1.0 and more where it smooths. The third is the standard
uncertainty of what the fit puts right of a factor, as a share: at none intervals beside means of 10 s hold 0.76."""

UNEVEN_LAG_U_S, UNEVEN_NOTICED_S, UNEVEN_SURE_S = 0.5, 0.05, 0.2
"""Half of how much later a display falls than it rises, standard deviation, from when on it is believed, as damping is,
and from when on it is surely the display's. Below, the answer lies midway between taking it out and leaving it in, and
holds both. Of a van in stop and go, 0.13 s, a line through all rows says 0.981, one through those at a steady speed
0.991; invented displays under the same track that fall 0.2 s later leave the first line as far off. At 0.2 for both, of
displays 0.1 s uneven half of the readings at 50 mph are held, at 0.05 nine in ten."""

UNEVEN_STEADY_MPS2 = 0.01
"""Up to about this a change of speed is none for an uneven lag, so that the likelihood is smooth at rest. At five times
as much the sway of a steady foot counts as none, and readings of a display that shows the peak of each second, 0.03 mph
off, are held in 0.5 to 0.8 in place of 0.95."""

LOG_PLAY_U_MPS, PLAY_NOTICED_MPS = 0.2, 0.1
"""Half the play of a pointer beside a log, standard deviation, and from when on it is told. Doubled, nothing
changes."""

LEAST_PLAY_MPS = 0.06
"""Least play that is believed, at as many standard deviations as damping. Believed however small, play takes a tenth of
what cruise control tells where there is none, and gives everyday logs a tenth."""

FOLLOWED_PLAY_MPS, POINTER_REACH_S = 0.16, 1
"""Least play with which a pointer is followed, and over how many seconds to either side the speed is averaged before.
In less play, or second by second, it goes to and fro with the noise of the receiver, and real play of 0.2 m/s is not
found in a tenth of logs under cruise control; at twice that reach play of 0.3 m/s comes out a tenth too small."""

HANG_U_MPS = 0.06
"""Standard uncertainty of where a pointer with play hangs while a speed is held, for the noise of the speed that it is
followed along; doubled or halved, readings of everyday logs are a twentieth wider or narrower."""

HOLDS_STRAY_MPS = 0.1
"""By how much the means of held speeds usually stray from the dial beyond rounding where play is fitted; what is more
widens the answer. Everyday logs stray by 0.04 to 0.12 m/s, needles that stick by 1 mph by 0.11 to 0.21. Without it
factors of those are held in 0.7, with it in 0.9, and one everyday log in ten has a wider answer; at 0.12 in 0.8."""

CLOCK_BLOCK_S, CLOCK_STEP_COST, CLOCK_LEAST_STEP_S = 30.0, 30.0, 1.5
"""Blocks in which a log is asked how late its clock is, the evidence in nats that a step or a drift must bring, and the
least step. Steps of 2 s bring hundreds; at 25 nats and 1 s a display that falls slowly showed one that was none."""

CLOCK_EXPLAINED = 0.5
"""Share of the rows of each piece between two steps that must fit there. Of another dial some fit at any lateness;
taken for a step of the clock, they had a third of a log left out and the rest trusted."""

CLOCK_NEAR_S, CLOCK_WIDER_S, CLOCK_FAR_S, MOST_JUMPS = 10.0, 40.0, 600.0, 3
"""Steps that are tried; those tried where the end of these fits best, without which steps of 12 to 25 s are taken for
10; and those, of a clock that does not drift, where two blocks and more fit nothing. So many longer ones, and clocks
that run back, are closed in the order of the file. Doubled, pauses of the logger up to twice as long are bridged."""

COUNTER_FULL = 0.9
"""Part of all that a clock shows by which each of its jumps goes back when it is a counter that begins anew: all but a
pause between rows. At half of it a clock that was set back twice may pass for one."""

LOG_ASTRAY_MPS = 1.8
"""A log that scatters by more about its best line, beside half a step, is of another drive, and one whose half minutes
lie so far off, each at its best lateness, is asked for no step. Simulated logs of a hundred kinds come to 1.0 m/s, with
needles that lag by 8 s in town, those of other drives to 2.9 and more. [m/s]"""

CLOCK_DRIFTS = (0.0, *(sign * 0.001 * k for k in (1, 2, 3, 4, 6, 8, 10, 12, 14, 16, 18, 20) for sign in (-1, 1)))
"""Drifts that are tried beside steps; the fit of the log finds what is left of them."""

CLOCK_FAST_DRIFTS = tuple(0.001 * k for k in range(20, 62, 2))
"""Sizes of drift that are tried where the largest of those explains most. Without them half of the logs whose clock is
4 % fast or slow, as one without a crystal may be, do not settle."""

STICKS_SHARE, STICKS_STEPS, STICKS_MPS = 0.4, 3.0, 0.1
"""A display sticks that shows such a share of its rows one value at a time and then jumps by so many of its steps and
m/s, but for a quarter of the jumps; it counts as rounded by what it holds on for. Needles that stick by 1 mph jump by
0.35 to 0.6 m/s, those with play and sound ones by 0.03 to 0.08, and figures of a slow display by 0.03 to 0.1, in a
tenth of the rows."""

APART_S, APART_MPS = 45.0, 3.0
"""A log that stands or hangs for so long while the track moves, or the other way round, so far from what it shows at
that speed elsewhere, is left out there. Ferries and tow trucks take minutes at 5 m/s and more. At 30 s the waits of a
car behind count, which tell that it is another one, in a third of its logs, at 45 s in none of 150; at 60 s displays
that hang for a minute go unseen. At 6 m/s slow ferries are missed."""

DRIFT_U = 0.004
"""Standard deviation of the drift of the log's clock: 4 s in 17 min. Doubled, nothing changes."""

LATENT_CURVE_MPS, LATENT_KNOT_SPACING_MPS = 0.7 * MPH_MPS, 2.5
"""Size of the dial's deviation while a log is fitted, and the distance of its knots; both only steady the rounds."""

LATENT_INTERVAL_S = 2.5
"""Fixes further apart than this leave too much of the speed between them to chance; they go through windows."""

ROWS_BESIDE_FIXES, LONGEST_BETWEEN_ROWS_S = 1.2, 6.0
"""Rows of a log no farther apart than so many times the fixes, or than this, tell what was driven between the fixes.
With a row and a fix in 5 s, speeds from the chords left factors 0.1 to 0.8 % low and readings on winding roads 0.2 to
0.5 mph high; rows of 10 s beside fixes of 5 s tell less than those."""

DENSE_POSITIONS_S, COARSE_POSITIONS_MPS = 1.5, 0.4
"""Fixes without recorded speed no further apart than this tell speed by a local fit; the way between them would tell
the factor as well and single readings less well. Fixes further apart cut bends, and of positions to 0.0001 degrees a
local fit makes noise: only the way is left."""

SMOOTHING_S = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0)
"""Time constants by which positions may have been smoothed; a third apart, the best is a sixth off at the most."""

SMOOTHING_HINT_S, SMOOTHING_HINT, SMOOTHING_FROM = 1.5, 2.0, 6.0
"""All are tried where the first one brings so many nats, and believed from so many on. Positions smoothed by 3 s bring
9 to 30 and then 26 to 65, those that were not lose 2 to 20; overlooked, factors are 0.9 % high."""

THINNED_HINT_S, THINNED_HINT, THINNED_FROM, THINNED_FILTER_FROM = 2.0, 5.0, 16.0, 8.0
"""The same where smoothed positions were thinned out, by the way between them; the last is of filters that overshoot.
Of 270 tracks with a fix in 2 to 10 s that were not smoothed none brought 6 nats for such a filter, eleven 7 to 16 for
the others; believed, readings are 0.3 mph low. Positions smoothed by 3 s bring 17 to 50, behind filters 7 to 49, and 6
and more at the first constant; overlooked, readings at 50 mph are 0.5 to 1.6 mph off."""

THINNED_TO_S = 12.0
"""Fixes farther apart tell nothing of what smoothed them by 6 s. Doubled, long trips cost more and tell as much."""

FILTER_BESIDE_DAMPED = 0.55
"""Share that a filter which overshoots must bring of what a damped needle does, of what lasts: damped needles come to
0.52 at the most, positions behind such a filter to 0.57 to 0.9 where they are noisy, to 1.4 and more where not."""

SMOOTHING_LEFT = 0.12
"""Standard uncertainty of what smoothing did to a factor, as a share of it, since how it was done is not known: of
exponential smoothing by 1.5 to 5 s a sixth is left. At none, readings beside 5 s are held in half of the drives."""

MOST_CUT = 0.03
"""Bends that took a larger share of the speed are left out."""

STATION_S, WINDOW_S, FEWEST_WINDOWS = 3.0, 12.0, 12
"""Positions are taken this far apart as the ends of chords, and windows of the way are this long; so many tell a dial.
Shorter windows let the noise of their ends in, longer ones mix speeds."""

LEAST_BETWEEN_SHARE, BETWEEN_SHARE, BETWEEN_SHARE_U = 0.067, 0.4, 0.15
"""Least and most of what the road is longer between fixes than the arcs through them, as a share of what leaving out
every other fix takes away, and its standard uncertainty. A fifteenth on bends well told by the fixes, a third for
errors that go with the square of the distance, all of it for short bends; on simulated winding roads with fixes every
5 to 10 s 0.3 to 0.75. At 0.33 always, and nothing spread, factors beside fixes every 15 s are held in 0.86."""

BETWEEN_SPREAD = 0.5
"""Part of that which is spread along the whole way. At none factors beside fixes every 10 s are 0.1 % high; more makes
readings wider."""

TURN_SHARE_U = 0.3
"""Standard uncertainty of what bends add to chords, as a share of it."""

LOG_NODE_GAP_MPS = 5.0
"""Distance of the readings at which positions tell a dial."""

LAG_TOLD_STEP_MPS, SLOW_NEEDLE_S = 0.35, 1.5
"""Recorded speed in coarser steps does not tell the lag of a needle: rounding smooths it alike. From the second on a
needle is said to lag, beside rows far apart from more on, since they may be means; from memory: sound ones follow
within a second."""

DAMPED_ROWS_S = 7.0
"""Rows of a log farther apart than this tell no damping of a needle. At 10 s two logs in five were taken for damped
ones and did not settle; at 5 s a needle of 2.5 s is still found, and without that seen 0.4 % low."""

LATENT_READINGS, LATENT_SPACING_S, LATENT_ROUNDS = 60, 1.0, 24
"""Moving readings and fixes from which on the latent speed is worth finding, the distance of its knots (half of it
doubles the cost and changes nothing), and most rounds of that fit: plain logs take 9, cruise control 12, receivers and
needles that smooth 14; one sound log of 400 takes 24 and more."""

LEAST_JERK, LOCAL_KNOTS = 0.001, 8
"""Least size of the change of acceleration in m/s^3, as under cruise control (ten times as much lets the speed wander
within its step of rounding); how a vehicle moves is learnt from so many knots to either side."""

LEAST_WANDER, RUN_EDGE_S = 0.002, 1.0
"""Least size of the change of a held speed from second to second in m/s^2, and how far from its ends a run counts as
held."""

RUNS_DIFFER, RUN_POOL = 1.0, 400.0
"""Variance of the logarithm of the variance up to which runs of one foot or one cruise control wander alike, and of how
many seconds, all well told, the usual size then counts against that of one run. Cruise control alone and by foot in
turns comes to 4, and each run has its own. At none readings in whole mph are a twentieth farther off where all are
alike; at 20 seconds always, factors of drives of both are 0.107 % off in place of 0.075 %."""

LEAST_NOISE_MPS, LEAST_NOISE_STEPS = 0.02, 0.05
"""Least noise of a value before it is rounded, in m/s and in steps."""

HELD_FIGURE_S, HELD_FIGURE_ROWS = 15.0, 6
"""To either side of a row, the time over which what it shows tells whether one figure is held, and the rows in which a
change of figure tells so. Taken over whole runs, trucks at their limiter, who come up to it in the same run, had
readings at 56 mph held in 0.0 to 0.7. Where rows come every 5 s, 15 s alone make intervals under cruise control a
quarter wider, and at nine rows factors are held in 0.92.
Not beyond a steady run: with the ramps at its ends, cruise control that comes back to two speeds for 15 to 50 s at a
time had factors held in 0.67 and readings in 0.57 of 30 logs; with those of runs longer than twice the first alone,
readings of three speeds held for 20 to 90 s in fewer, and intervals under cruise control are 3 to 6 % narrower."""

LOG_BLOCK_S, POSITIONS_BLOCK_S, LUCK = 60.0, 120.0, 0.75
"""Readings of different minutes are independent, errors of positions last longer; a jackknife variance below this part
of the model's was only lucky: with it, and not with 0 or 1, 95 % intervals held the truth in 95 to 97 % of 300
simulated drives each of logs at 0.2, 1 and 5 s."""

RECEIVER_U_MPS = 0.0015
"""What a receiver may be off by at all speeds, standard: half of what the rate of one GPS range may err by in space
(0.006 m/s at 95 %, performance standard, from memory), of which several ranges, and headings, leave less and to which
receivers add some. Doubled, readings of a fine log are a tenth wider, and held in 0.98. Three recorded drives do not
speak against it, as far as they can: over recorded speed chords of 10 s on straights are 0.07 +-0.09, 0.09 +-0.16 and,
by a phone whose speed comes 0.5 s late, 0.05 +-0.13 % longer; bends tell to 0.5 %."""

LOG_WRONG_SHARE, LOG_WRONG_SPREAD_MPS, LOG_WRONG_STEADY_MPS2 = 0.01, 4.0, 0.14
"""Share of a log that is taken as wrong before it is seen, the range about the right value in which that lies, such as
wheels that spin for some seconds, and the change of speed that is steady. Without it, logs of which a sixth reads 2 to
6 % high for some seconds at a time have factors 0.7 % off in place of 0.15 %; where speed changes too, or at twice the
third, a receiver that gives means of 10 s is no longer told by its lag."""

ALIKE_STEPS = 0.1
"""Part of a step that lies between values that tell the same. At none cruise control is off by a sixth more, of our own
drives and of those made apart, and intervals are a quarter wider; at 0.25 it is off by a twentieth more again. To a
dial values of a log are alike within as much of each other on it: counted along the way between them, three to five
speeds held for 20 to 90 s have readings held in 0.80, not 0.93, factors a third farther off, and cruise control has
intervals a tenth to a fifth wider. Doubled there, factors of those are a sixth nearer, everyday logs a twentieth
wider, and a needle that sticks and recorded speed in whole m/s are too sure."""

HELD_FIXES, MOST_HELD = 6, 0.2
"""So many equal speeds in a row, where they are not rounded, were held by the receiver and not measured; unless they
are a greater share of the drive than the second: such a track was drawn."""

STEP_NOTICED_MPS = 0.08
"""Steps of recorded speed finer than this do not matter."""

MARKS_TURN = 0.85
"""Share of the needle's turn by which what marks and view of a film do alike goes around: errors of a smooth scale
through all marks are alike over a little more than parallax. From drives before rendered dials: at 0.5 intervals of
the factor held 74 % of 65, at 0.75 92 % of 144; doubled, the factor of a film is half as sure. [1]"""

STEADY_WANDER_MPS, HELD_ROUNDING_STEPS = {"recorded": 0.1, "positions": 0.2}, 0.45
"""A log that strays so far at held speeds from recorded speed, or that of positions, beside its rounding is of another
vehicle; and what rounding does to speeds that are held still, in steps: an even spread has a robust scale of 0.37, and
somewhat more where few speeds are held. Made apart from ours, one sound log in 700 strays so far, and all but one in
150 of the car behind; at 0.2 for both one in twenty of those was trusted. Between walls positions stray by 0.2 m/s."""

BESIDE_FIX_S = 1.0
"""Rows so near to a recorded fix are held against it where fixes lie far apart. At 2.5 s logs of two dials beside fixes
every 15 s pass for those of one in 6 of 40, at 1 s in none, and rounding is still averaged."""

SWING_S, SWING_STEADY_MPS2 = 1.0, 0.04
"""Seconds to either side over which a change of speed is taken beside positions, and the change that is about none: a
step of 1 km/h now and then. At 1.5 s and 0.1 m/s2 a display that falls 0.4 s later comes out 0.6 s late."""

LATE_FROM, LATE_FROM_BETWEEN = 2.5, 3.5
"""Standard deviations from which a display is damped, or falls later than it rises, beside positions that tell the
speed, and where only the way between them is told. Of 96 sound logs with a fix a second none reaches 3.4; displays
damped by 0.7 s come to 1 to 4, by 1.5 s to 5 to 10, those that fall 0.4 s later to 5 to 13. Overlooked, readings are
0.2 to 0.5 mph off. Taken so always, readings beside sparse fixes are a tenth to a fifth wider."""

STRAIGHT_U_MPS, WINDOW_WANDER_MPS = 0.1, 0.4
"""Windows of the way between fixes are straight where bends leave so much doubt of the mean speed; a log that strays so
far from them is of another vehicle. Of 235 sound logs beside fixes 2 to 10 s apart, or thinned out, made apart from
ours, one strays so far, beside fixes of a phone whose stamps err by a quarter of a second, and half of those of the car
behind."""

PLAY_LEFT = 0.6
"""Of the play that was found in a needle, what it may stray by besides: play is told to a third, and a needle in it
stands anywhere. In logs of the car behind none is found."""

LARGE_SCATTER_MPS = 0.9 * MPH_MPS
"""Rows of a log that are of two dials by turns scatter by 1.4 mph and more, sound ones by 0.5 at the most."""

LARGE_BY_TURNS_MPS, QUIET_SHARE = 0.3, 0.25
"""The same beside positions alone, by how far rows lie from their neighbours, over the share of rows where the track
changes speed least. Over all rows two in three sound logs with a row in 5 s on winding roads lie farther off than 0.4,
over these one in eight; dials 5 to 10 % apart are found in 119 of 120, those 2.5 to 6 % apart by chance in nine of ten.
Doubled, the latter are missed."""

LOG_WRONG_FROM, LOG_LAG_S = 5.0, 0.3
"""Scatters, and seconds of the change of speed, by which a plain log may leave the line: its needle may lag."""

STOP_ROWS, STOP_SHARE, STOP_SPREAD_STEPS, STOP_SPREAD_MPS = 10, 0.7, 1.5, 0.4
"""The needle lies at a stop when so many rows, and such a share of all beyond, show the end of the scale at speeds so
many steps, and so much for lags, apart. Half the spread costs sound logs their fastest rows."""

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

CHANGE_BLOCK_S, CHANGE_LEAST = 20.0, 0.015
"""A needle or a hill errs alike for less than the first; a part of a log that is so far off has a cause."""

CHANGE_TOLD, CHANGE_SIGMAS = (CHANGE_LEAST, 0.003), (8.0, 6.0)
"""Changes of a part, and drifts over all of a log, that are told and widen the answer, and how plain they must be. Made
apart from ours, parts of sound logs differ by up to 0.6 % at 9 sigma, slip of 3 % or another tire at 30; they drift by
up to 4 sigma, with tires that warm up by 1.5 % at 13."""

STEADY_WINDOW_S, STEADY_ACCELERATION_MPS2 = 5.0, 0.35
"""Over so long, below such a change of speed, lags do not matter."""

LATENT_WRONG_FROM, LATENT_LATE_S = 6.0, 2.5
"""As LOG_WRONG_FROM and LOG_LAG_S, beside recorded speed, where damping is fitted and a lag may be longer."""

LEAN_LEAST, LEAN_MOST, LEAN_SIGMAS, LEAN_BLOCK_S = 0.1, 0.5, 8.0, 20.0
"""Least and greatest radius of a tire's section, as a share of its own, that make a vehicle lean, how plain it must be,
and the time over which rows err alike. On drives made apart from ours motorcycles come to 0.3 to 0.4 at 9 to 45 sigma,
cars and trucks to 4 sigma, and receivers that smooth a speed by 3 s and more to 0.4 to 1.3 at 7. Unseen, logs of
motorcycles have factors 0.8 to 2 % off, and sure."""

CUT_DAMPED_S, CUT_FILTERED_S, CUT_HINT_S = (0.7, 1.0, 1.5, 2.0, 3.0), (1.0, 1.5, 2.0, 3.0, 4.0), 1.5
"""Time constants of smoothing, and of a Kalman filter, by which a receiver may cut bends, and the one of smoothing for
which all are tried. Doubled, cuts of 1 s are missed."""

CUT_SIGMAS, CUT_LEAST, CUT_MOST = 5.0, 0.4, 1.6
"""How plain a cut must be, and the least and most part of what a filter does to bends that a log must show. Speeds
behind filters of positions come to 6 to 37 sigma, receivers' own to 3; overlooked, readings at 50 mph are 0.1 to 0.6
mph high."""

MEANS_FROM_S, MEANS_MATCH = 4.5, 0.65
"""Rows so far apart and more may each be the mean of what was shown since the row before, and are where they scatter
about a line through mean speeds by less than that share of what they do beside speeds of a moment. Made apart from
ours, means of 10 s come to 0.1 to 0.63 (0.73 where nothing changes), rows of a moment to 0.8 to 9. Overlooked, means of
10 s are WEAK as of another drive, with three times the half width, those of 20 to 60 s are so or refused."""

FEWEST_CONVERTED, CONVERTED_FROM, CONVERTED_SHARE = 15, 1.5, 0.95
"""Figures that a log must show, how much coarser the steps of its dial are than those it is written in, and the share
of figures that must be what such steps become. Of three whole km/h in a row one is no whole mph, so that a dial in km/h
shows a third of others. Overlooked, factors are 0.6 % off and readings by 0.3 km/h, neither held."""

MOST_LEAN, MOST_LEAN_MPS2 = 0.01, 9.0
"""Bends in which a lean takes a larger share are left out, for a fit of positions blurs the sharp ones; tires hold no
more than the second. At 0.03 factors on roads with hairpins are 1 % low."""
