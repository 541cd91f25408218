"""Every number that is a choice about what explains notes better than one dial, one reader and one watch."""

from __future__ import annotations

from speedcal.units import MPH_MPS

WATCH_SET_SHARE, WATCH_STEPS_S = 0.05, (5.0, 7200.0)
"""Of files, those whose watch was set on the way or that were timed by two clocks, from memory, and the least and the
greatest step; all orders of magnitude between them are alike. Twice the share is 0.7 of the odds below."""

WATCH_SET_EVIDENCE, WATCH_SET_RESCUES = 2.3, 10.0
"""Log odds (10 to 1) from which on such a step is believed where one clock leaves doubts, and where it leaves notes no
answer at all: those are mostly of another drive. Steps of 60 s come to 9 and more, in files that one clock refuses to
24; notes of the same road on another day to 8. At 2.3 in their place twice as many of these get a number."""

WATCH_ASKED_FROM = 4.0
"""Log likelihood ratio of wrong notes that lie together at one end against as many strewn over all, from which on a
step is asked after. It costs time only: of files with a third of the notes wrong one in ten is asked."""

WRONG_TOGETHER_EVIDENCE = 4.6
"""Log odds (100 to 1) from which on wrong notes that stand one after the other in the file cost trust: all places where
they may stand count alike, at an end or not. Strewn ones come to it in one file of a thousand; of notes whose dial
reads 15 % and more otherwise for the last third of a drive, nearly all do."""

OTHER_DIAL_MOST = 0.6
"""By which part at the most another dial, or this one on other tires or gears, shows more or less; all alike likely."""

RAN_BACK_S = 60.0
"""By how much times that run back in the order of the file are those of a clock that was set: people put notes less far
out of order, from memory."""

ASIDE_MPS = 0.75 * MPH_MPS
"""By how much who takes over with another watch sees the needle otherwise, standard; from memory."""

READERS_APART_S, READERS_SHIFTS_MPS = (4.0, 8.0, 12.0, 16.0), tuple(k * MPH_MPS for k in (-1.5, -0.75, 0.0, 0.75, 1.5))
"""How far two watches are apart, and by how much two people see a needle differently."""

AT_REST_MPS = 1.0 * MPH_MPS
"""Reading up to which a needle lies at rest and says nothing of who read it; our own judgment. Of notes of slow trucks
whose needle rests below 10 mph 7 of 20 look like those of two watches when it counts, one when it does not."""

READERS_SWITCHES = (0.02, 0.1, 0.5, 0.9, 0.98)
"""Chances that the next reading is the other reader's, or off the other dial, all alike: they hand over once or now and
then, note as it comes, or take turns."""

TWO_WATCHES_SHARE = 0.6
"""Of files with two readers or two dials, those with two readers. At 0.5 a sound drive in fifty more is taken for two
dials."""

READERS_PLAYS_MPS = (0.0, 0.7 * MPH_MPS)
"""Half the play of the needle that one reader is allowed; without it a needle that hangs behind looks like two."""

DIALS_APART, DIALS_MEET_MPS = (0.03, 0.05, 0.075, 0.1), (0.0, 30 * MPH_MPS)
"""By how much two dials differ, as a part of the speed above the one at which they agree."""

DIALS_CLOCK_REACH_S = 4.0
"""Clock offsets about the best that are tried for two dials, which one reader notes with one watch."""

GPS_SHARES, GPS_SCATTER_MPS = (0.2, 0.35, 0.55), 0.1
"""Shares of the readings that were taken off a GPS display, and how far such a reading is off the track beside its
rounding."""

GPS_SCATTERS_MPS = (0.165, 0.27, 0.45)
"""Scatters at which the dial beside such a display and the dial alone are compared."""

GPS_IN_STRETCHES, GPS_SWITCHES = 0.2, (0.02, 0.1)
"""Of files with such a display, those where its readings come together, and chances that the next reading is then off
the other. At two in three one sound file in 200 more is doubted."""

READERS_CLOCK_REACH_S = 20.0
"""Clock offsets about the best that are tried for each of two readers; two watches lie on both sides of one."""

READERS_SCATTERS_MPS = (0.1, 0.165, 0.27, 0.45)
"""Scatters at which one reader and two are compared."""

CHANGE_ON_WAY_U, CHANGE_ON_WAY_MPS, FEWEST_ON_A_SIDE = 0.05, 1.5 * MPH_MPS, 3
"""By how much a dial reads otherwise after tires, gears or the dial itself were changed on the way, relative and
standard, or is seen otherwise by who took over, and readings that must lie before and after, or at a stop."""

STRAY_MPS, STRAY_LASTS_S = 1.0 * MPH_MPS, (15.0, 60.0)
"""How far readings of another vehicle stray from the track, standard, and times in which they come back by two thirds.
Halved, it is what a needle in its play does; more of either hardly finds more."""

STRAY_SCATTER_MPS, STRAY_SCATTER_LOG_SD = 0.24, 0.4
"""What people read to, where the question is whether it is more than that; half as narrow, readings of the car behind
pass for those of somebody careless."""

RIVAL_SHARES = {"two_readers": 0.5, "dial_changed": 0.1, "large_scatter": 0.4, "gps_among_readings": 0.12}
"""How likely two readers or dials, a change on the way, another vehicle and a GPS display are beside each other. From
drives made apart from ours; half or twice of any of them changes less than one file in a hundred."""

RIVALS_TO_ONE = 0.35
"""How likely all of them together are beside one dial and one reader before a reading is seen, for the mean over both:
one file in four, from memory. At 1 intervals of one reader widen by 1 % in place of 0.5 %, and hold no more."""

DOUBTED_FROM = 0.2
"""Log odds of all these together from which on readings are not trusted; 0 where they tell nothing. On drives made
apart from ours seven sound files in two hundred reach it, three in four of a convoy, nineteen in twenty of two watches
or two dials. At 0.5 one sound file in a hundred fewer, and of a convoy one in ten more passes."""
