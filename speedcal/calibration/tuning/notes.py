"""What of noted readings and lists is a choice of the calibration, as in :mod:`speedcal.calibration.tuning.general`."""

from __future__ import annotations

from speedcal.units import MPH_MPS

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

FEWEST_NOTES_AT_STOP = 4
"""The same of notes, at two figures of which speeds differ by three steps: at 60 mph nobody misreads so four times."""

DOWN_BELOW = 0.25
"""Share of the highest readings below which a needle is down. A gear that skips leaves more; doubled, a drive that
ends in a town may have a needle that fell."""

FEWEST_BELOW_END = 5
"""Notes below the end of a scale that tell a dial; fewer than eight are WEAK."""

END_SHOWN, END_SHARE = 0.25, 0.05
"""Part of the notes at their highest figures from which on the end of the scale is asked after where they are refused
without it, and of how many files it ends below the speeds driven, a guess."""

END_EVIDENCE, END_RESCUES, END_LOOSE = 15.0, 20.0, 1.4
"""Log odds against a scale that goes on, and that the notes belong, from which on a scale that ends saves them, and by
how much more each look must then add to the odds. Of notes of scales that end at 40 mph 36 of 40 that were refused come
to all three. Of the same road on another day none whose scale goes on does; whose scale ends, one in 80, and 15 at the
odds asked of others."""

REST_FACTOR_U, REST_EVIDENCE = 0.15, 2.3
"""What a needle at its stop takes back of the rise of the readings, relative and standard about all of it, and log
odds (10 to 1) from which on notes are taken as of one. Of 1,860 files of needles that do not stop two come to them."""

REST_BEYOND_STEPS, REST_BEYOND_MPS = 1.0, 1 * MPH_MPS
"""How far beyond the end of a scale somebody drove, in steps of the readings and besides, before its needle is asked
whether it lay there. Without, one file in eighty had a speed held for long, and read alike, taken for one."""

LONG_STEP_S = 10.0
"""Half width of the moments of a reading from which on they tell neither a stop nor two watches."""

WRONG_NODES = 9
"""Nodes of the density of the share of wrong readings."""

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

FIGURES_SCATTER = 0.3
"""Scatter of the readings of figures, beside their rounding, over that of a pointer: nobody misjudges them, and what is
left is how late they come. At 1 readings of such displays at 50 mph are a fifth wider and always held."""

RUN_SHARES, RUN_SHARE_ODDS = (0.0, 0.4, 0.8), (0.6, 0.3, 0.1)
"""Parts of a reading's variance, its rounding included, that all readings of one steady run share, and how likely each
is before it is seen. Without them triples of notes in one hold count as three: coverage 0.82 in place of 0.92."""

PLAY_MPS = 0.5 * MPH_MPS
"""Half the play of a pointer that hangs behind. Common practice, no source."""

PLAY_SIZES_MPS, PLAY_SHARES = (0.1 * PLAY_MPS, 0.7 * PLAY_MPS), (0.5, 0.5)
"""How far a pointer hangs, standard deviation, and how likely each is before it is seen."""

ASSOCIATION_FROM = 6.9
"""Log odds that readings belong to a track from which on they get a number: 1,000 to 1. On simulated drives foreign
notes pass less than once in a thousand, and of sound ones only those of four or five readings fail."""

LOOSE_SCATTER_MPS, LOOSE_EVIDENCE, MUCH_COVERED = 1.4 * MPH_MPS, 25.0, 0.75
"""Readings that scatter this much about the dial are trusted from such odds on, at the least, that they belong to it;
those that do not show that they belong are told of the gaps where less of the drive has a speed."""

LOOSE_A_LOOK, SAME_LOOK_S = 2.8, 15.0
"""Log odds that each look at the dial, if it is right, must add for each m/s of scatter about the dial, and the time
within which readings are of one look. Notes of the same road on another day follow the track, but loosely: of 1,800
such files 13 get a number, 27 at 2.2, without it one in fifteen. Sound files are not refused for it, of those with a
third wrong one in sixty, and one in ten of those whose needle trembles by 2 mph. Not asked of readings to coarse marks,
of which one in fifty was refused."""

LOOSE_AT_MOST_MPS = 0.5
"""Scatter beyond which an answer asks for no more of such odds, but trust in it does. Those of the same road on another
day reach 1.4 a look, whatever their scatter, in one file of 310; needles that swing by 1.6 to 3 mph in half.
At 0.46 two in a hundred more of the same road get a number, without it three in four of such needles are refused."""

COARSE_U_MPS, MARKS_EVIDENCE, MARKS_BY_GPS = 0.35, 3.0, 1.0
"""Rounding from which on, standard, and log odds (20 to 1) at which readings are taken as noted with the needle on its
marks, and not as rounded to them; and those (3 to 1) against speeds held a step apart by a receiver. When only
multiples of the step were asked after, eight in 28 files of such speeds were sure and wrong; at even odds two in 32,
at these one in 40 (seeds 423, 470). Of 20 of needles held on fives and tens 5 are TRUSTED."""

LISTED_HELD = 2.3
"""Log odds (10 to 1, our own judgment) that a list is what it is asked for, speeds held by the dial and on its marks,
and not what it showed at speeds held by a receiver. At even odds a third of lists, of dials nearly right, are WEAK."""

MARKS_U_MPS = 0.5 * MPH_MPS
"""How well a needle stands on its mark at the most, standard, whatever lies between two marks."""

TEN_MPS, TENS_HELD = 10 * MPH_MPS, 4.0
"""Hardly anybody rounds a dial to tens of mph (log odds, from memory), and who holds speeds by its marks chooses those.
Of notes of 30, 40, 50 and 60 mph held in turn five in twelve are refused as of another drive without it, one with it.
Tens of km/h are the marks of most dials: thought too coarse to round to, two in seven such files were sure and wrong
where a receiver was held at tens."""

HEAP_STEPS, HEAPED_SIGMAS, HEAPED_EVIDENCE = 5, 2.0, 1.0
"""Steps to whose multiples people round besides, standard deviations of chance from which on more readings lie there,
and log odds from which on they are taken as rounded, and not as noted with the needle held on its marks."""

HEAPS_ABOVE = 2.3
"""Log odds (10 to 1) against chance, of all speeds from which on they may, from which on the fastest readings are asked
whether they were rounded to fives or tens; what is beyond counts for HEAPED_EVIDENCE, which decides. Of notes in tens
above 50 mph factors are held in 0.9 in place of 0.57, and of ten none is refused in place of two; of 200 files of
others no answer changes. Of notes in fives above 42 mph beside fives held by GPS readings are held in 0.77, by the
evidence alone in 0.64; of dials within 2 % of right in a third (32 drives)."""

JUMPS_ASKED_FROM, JUMPS_EVIDENCE, MOST_JUMP_MPS = 2.5, 1.5, 4.0 * MPH_MPS
"""Log likelihood ratio of two scatters against one from which on a needle that jumps below some speed is asked after,
log odds from which on it is believed, and how far one jumps. Factors of needles that jump by 2.5 mph below 35 are held
in 0.9 in place of 0.6; of 1,500 files of others one with a third wrong is refused for it."""

JUMPS_LOOSE = 0.6
"""Part of those jumps that counts as scatter where readings must show that they belong. At 1 a third of such files are
refused; at 0 two in a hundred of the same road on another day get a number in place of one."""

GROUND_LOOSE = 0.3
"""Part of the uncertainty of the ground speed that may hide in the scatter about the dial, where that must be small.
At 0 ten in 24 notes beside a fix in 5 or 10 s of a winding road are refused in place of three; at 0.4 one in 13 of the
same road on another day gets a number beside late or far fixes in place of one in 18, at 0.6 one in nine. Nothing where
speed is recorded."""

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

MOST_DRAWN, MINUTES_MOST_DRAWN = 0.6, 0.75
"""Most of a reading's residual that its own choice of moment is taken to have hidden, for stamps to the second and to
the minute. Of the latter, taken as it comes, factors are held in 0.91 at 0.6, at 0.85 in 0.97 and a quarter wider."""

MUCH_DRAWN = 0.45
"""Share of readings of which more is hidden, from which on their moments are left open. Half of them taken while the
speed changes, factors are held in 0.75 to 0.8 without, in 0.95 with it; below this share they are held as they are. Of
notes taken as people do one file in a hundred has it."""

CHANGES_MPS2, LOOKS_BEFORE = 0.3, 2.0
"""Change of speed from which on it is no longer held, and for how many readings it counts that people look as often
while it changes as not, before their notes are seen."""

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

HELD_LIKELIER_FROM, HELD_PROVEN_FROM = 2.3, 12.0
"""Log odds below which a list gets no number at all: 10 to 1, and from which on it proves its drive, however few marks
it has. Own lists of seven marks come to 13 to 20, to 11 and more where holds are missed; laid on the drives of others
seven in 2,400 came to 7 and more with an order of their own."""

ONE_OUT_OF_ORDER = 1
"""Marks out of order with which a list still counts as one that only rises or falls. At 2, one shuffled list of seven
in fourteen would."""

USUAL_LINE = -1.5
"""Log density of needle and factor before a list is seen, less its greatest, from which on a list in an order of many
drives may be proven: a needle 2.5 mph off alone comes to it, or a factor 20 %. Of 474 such lists laid on other drives
held in the same order none is then TRUSTED and wrong, at -2.5 four, at no limit fifteen of those that turn once; own
lists of seven marks and more all are."""

HANGING_SIZES_MPS, HANGING_SHARE = tuple(size * MPH_MPS for size in (0.8, 1.2, 1.7, 2.3, 3.0)), 0.1
"""How far needles hang behind on either side against which notes are held, as true speed, and how many needles do, from
memory: a sound one by 0.5 mph at most. Twice the share is 0.7 of the odds that notes belong to a track."""

HANGING_ASKED_FROM, HANGING_RESCUES = 3.0, 8.0
"""Log likelihood ratio about a line from which on a needle that hangs is asked after, which costs time only, and log
odds (3,000 to 1) from which on it saves notes that are refused without it. Needles that hang by 2 and 3 mph come to 9
and more, some that jump by as much to 5; of 1,800 files of the same road on another day three came to 5 to 7 and got a
number for it. Of sound needles none was asked."""

SMOOTHED_NOTES_S, SMOOTHED_NOTES_SHARE, SMOOTHED_NOTES_FROM = (1.5, 3.0, 5.0), 0.15, -2.0
"""Time constants by which positions beside notes may have been smoothed, in how many tracks without recorded speed they
are, a guess, and the log likelihood ratio about a line from which on one is asked after, which saves time only. On
winding roads 3 s bring 2 nats, and cost 5 where there were none. Of such notes 44 of 60 are TRUSTED, none sure and
wrong, without it 33 and two. With twice the share little changes."""

WANDER_TIMES_S2, WANDER_EVIDENCE, WANDER_LEAVES, WANDER_RESCUES = (4.0, 8.0, 16.0), 0.7, -0.3, 2.3
"""By how much a speed may be off where positions may wander, in m/s over m/s3 of the lesser change along and across: it
is 6 to 12 where errors last for 8 to 30 s. Notes that leave doubts go by that from these log odds (2 to 1) on, if they
are those of the doubts as well, and if what is left of the doubts has odds below the third, which are 0 where the notes
say nothing of them. At 0.2 four of 140 files of two dials beside such positions are TRUSTED, at this none, nor without
any of it. Notes that are refused go by it from the last (10 to 1) on: of 110 of them 6 are refused, 13 without it; of
the same road on another day 2 in 160 get a number, one without it, and at 2 to 1 four in 100."""

WANDER_CHANGE_S, WANDER_REACH_S = 2.0, 15.0
"""Time to either side over which a change is taken, longer than the noise of a fix lasts, and from which on what lies
about it says nothing of it: a street between high walls takes half a minute."""

SCALES_NEAR_MPS, SCALES_FACTORS = 1.2, tuple(0.8 + 0.02 * k for k in range(24))
"""How near to what the dial shows a reading lies that was read off its other scale, our own judgment, and the error
factors at which it is asked on which of the two each reading lies, where no line tells them apart: farther from 1 those
said to be off the other scale would be the ones in their own unit. Of 26 files with half of the readings off the other
scale 25 are laid so, all held; of 36 of other drives none, of the same road one in ten."""
