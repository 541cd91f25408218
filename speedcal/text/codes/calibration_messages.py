"""Words for calibrating."""

from __future__ import annotations

from speedcal.text.messages import Template, Values, labelled
from speedcal.text.words.numbers import counted, distance, fill, joined, span, speed
from speedcal.text.words.parts import TURNS_THE_NEEDLE, WATCH_THE_NEEDLE
from speedcal.units import SPEED_UNIT_MPS, USUAL_LIMIT

_USUAL_LIMIT_MPS = USUAL_LIMIT["mph"] * SPEED_UNIT_MPS["mph"]
"""Nobody is sent beyond it."""
_LEAST_SAID = 0.0005
"""A share below this would be written as zero."""

_SPARSE = (
    "The track has a GPS point every {interval_s:seconds} only, and on winding roads and in traffic the speed changes "
    "faster: record the next drive with a point a second. "
)

_FEW_TO_TELL = (
    "If they are, so few readings cannot show it: drive again and note twenty with the seconds of their times, at "
    "several speeds from slow to fast and back, beside a GPS point a second"
)
_BELONGS = (
    "Twenty readings at several speeds, and a GPS point a second, would show that they belong together. If they do, "
    "look at what makes a needle stop, jump or swing: a broken, worn, dry or kinked cable, or a gear that skips "
    "because its housing is turned to the wrong range"
)

_TO_MARKS = (
    "Steps of {marks_mps:speed} hardly tell one speed from the next: note what the needle shows between its marks, or "
    "hold it on four of them and more. "
)

REFUSALS: dict[str, tuple[Template, Template]] = {
    "few_fixes": (
        "the track has {count:n usable fix/usable fixes}, too few to tell a speed",
        "Record a drive of at least ten minutes with one GPS point a second",
    ),
    "speed_unit_unexplained": (
        "the recorded speed is {ratio:.2f} times the speed worked out from the "
        "positions, and no unit of speed explains that",
        "Export the track without its speed column, so that the positions are used",
    ),
    "few_times": (
        "the readings carry fewer than four different times",
        "Check the time column, or leave it out to give speeds held one after the other",
    ),
    "hardly_moved": (
        "the vehicle hardly moved: the fastest part of the track is at {fastest_mps:speed}",
        "Record a drive with several steady speeds between 25 and 65 mph (40 and 105 km/h)",
    ),
    "too_few_readings": (
        "{count:n usable reading is/usable readings are} too few",
        "Note at least eight readings, twenty if you can, at four or more different speeds",
    ),
    "too_few_checks": (
        "{count:n row has/rows have} both what the dial showed and the true speed; two are needed",
        "Give two runs or more, such as a measured mile in both directions at a steady reading",
    ),
    "impossible_checks": (
        "the dial shows {factor:.2f} times the true speed, which no change of tires or gears explains",
        "Check the units in the header, and the figures",
    ),
    "too_few_held": (
        "{count:n held speed/held speeds} and {holds:n steady run/steady runs} in the track are too few to match",
        "Hold at least four different speeds, half a minute each, or note the time of every reading",
    ),
    "too_many_held": (
        "{count} speeds without times are too many for {holds:n steady run/steady runs}",
        "Give one speed for each steady run, or the time of every reading",
    ),
    "held_unmatched": (
        "only {matched} of {count} held speeds match a steady run of the track in this order",
        "Check that the list and the track are of the same drive and that the list is in order",
    ),
    "two_orders": (
        "the list of held speeds fits the drive in more than one way: error factors of {factor:.3f} and "
        "{other_factor:.3f} fit nearly equally well",
        "Note the time of each reading, or hold the speeds in an order that is not evenly rising or falling",
    ),
    "foreign_readings": (
        "the readings fit this track no better than they would fit the track of another drive",
        lambda values: (
            ("Write the times to the second: whole minutes hardly tell one hold from the next. " * ("step_s" in values))
            + fill(_TO_MARKS if "marks_mps" in values else "", values)
            + "Check that both are of one drive, and the unit of the readings. "
            + (_FEW_TO_TELL if "count" in values else _BELONGS)
        ),
    ),
    "unit_changes": (
        "from this line on the readings seem to be in {after}, above it in {before}: against the track they change by "
        "the factor between the two",
        "Put each part into a file of its own, with its unit in the heading, or convert one of them",
    ),
    "one_speed_noted": (
        "all readings show about {shown_mps:speed}, and one speed tells neither whether they belong to this drive "
        "nor what the dial shows at others",
        "Drive again: several speeds from slow to fast and back, each held for half a minute, and twenty readings or "
        "more with the seconds of their times",
    ),
    "needle_stands": (
        "the dial showed {shown_mps:speed} throughout, while the vehicle went at {slow_mps:speed} to {fast_mps:speed}",
        "Check that these are readings of the dial. If its needle did not move, look at what turns it: the cable "
        "(broken), the driven gear, or the sensor and its plug",
    ),
    "loose_readings": (
        "the readings follow the speed of this track, but not as one dial shows it: {near} of {count} lie within "
        "{within_mps:speed} of one, {low} below it and {high} above, by some {off_mps:speed1}",
        lambda values: (
            fill(_SPARSE if "interval_s" in values else "", values)
            + fill(_TO_MARKS if "marks_mps" in values else "", values)
            + "Check that they were read on this drive in this vehicle, not on the same road another day or in a "
            "vehicle behind. If gears, range, tires or the unit changed on the way, try each part by itself. "
            f"If none of this applies, {WATCH_THE_NEEDLE}"
        ),
    ),
    "few_changes": (
        "{near} of {count} readings lie within {within_mps:speed} of what one dial would show, but the speed of this "
        "drive changes too little to show that they belong to it",
        "Check that both are of one drive. Then drive again: several speeds from slow to fast and back, each held for "
        "half a minute, and twenty readings or more with the seconds of their times",
    ),
    "track_gaps": (
        "the track has gaps: it tells the speed for only {covered:percent} of the drive, too little to show that the "
        "readings belong to it",
        "Use the track as it was recorded, with a GPS point a second or so; apps that thin out the points leave no "
        "speed between them",
    ),
    "no_common_time": (
        lambda values: f"the readings and the track have no time in common{_apart(values)}",
        lambda values: (
            fill(
                "Check that both files are of one drive. If only the date of the readings is wrong, leave it out: "
                "times of day will do. If you know to about ten seconds how far their clock is off, give "
                "{--clock-offset}",
                values,
            )
            if values["clock"] in ("utc", "local", "gps")
            else "Check that both files are of one drive, and that the track was recording for all of it"
        ),
    ),
    "track_of_weeks": (
        "the track runs over {lasts_s:seconds}, and the readings do not state the date of the drive",
        "Cut the track to the day of the drive, or write the date with the readings",
    ),
    "few_logged_moments": (
        "only {count:n moment} of the drive had a steady speed, a GPS speed and a reading at once",
        "Record at least five minutes above walking speed, with a row every second or two and the time it was read; "
        "rows written in uneven batches and stamped when written do not tell when they were read",
    ),
    "few_rows_between_ends": (
        "only {count:n row} of {all} can tell anything about the dial: in the others the needle was at an end of its "
        "scale, or log and track did not belong together",
        "Record a drive at speeds between the ends of the scale, with track and log running for all of it",
    ),
    "few_logged_stretches": (
        "the readings cover only {count:n short stretch/short stretches} of the drive",
        "Record a drive of at least five minutes with the log running",
    ),
    "two_clocks_for_log": (
        "two clock offsets explain the log nearly equally well: {clock_offset_s:shift} and "
        "{other_clock_offset_s:shift}",
        "Give {--clock-offset} to about ten seconds, or record a drive with more changes of speed",
    ),
    "line_unsettled": (
        "the line did not settle in {rounds:n round}",
        "Check that the speeds differ by more than their uncertainty",
    ),
    "two_clocks": (
        "two clock offsets explain the readings nearly equally well: {clock_offset_s:shift} gives an error factor of "
        "{factor:.3f}, {other_clock_offset_s:shift} gives {other_factor:.3f}",
        "Write the times with date and zone, or give {--clock-offset} to about ten seconds; more "
        "steady runs at different speeds make it certain. Check the unit of the readings too",
    ),
    "readings_do_not_follow": (
        "the readings do not follow the speed of the track",
        "Check the unit of the readings, that the column is the speed, that the needle moves, and that both files are "
        "of one drive",
    ),
    "impossible_factor": (
        "the readings are {factor:.2f} times the true speed, which no change of tires or gears explains",
        "Check the unit of the readings, that both files are of one drive, that axle and transfer case were in their "
        "usual range, and how many pulses a sensor gives",
    ),
}
"""Code to what is wrong and what to do, both without full stop."""


def _apart(values: Values) -> str:
    for key, told in (("ends_before_s", "end {} before it begins"), ("begins_after_s", "begin {} after it ends")):
        if values[key] > 0:
            return f": they {told.format(span(values[key]))}"
    return ""


def _shown_and_expected(shown_mps: float, expected_mps: float, unit: str | None) -> str:
    """Return both, with a decimal where they would read the same without."""
    in_short = [speed(v, unit) for v in (shown_mps, expected_mps)]
    shown, expected = (speed(v, unit, digits=int(in_short[0] == in_short[1])) for v in (shown_mps, expected_mps))
    return f"{shown}, expected {expected}"


def _named(values: Values) -> str:
    rows = [
        f"line {row['line']} ({_shown_and_expected(row['shown_mps'], row['expected_mps'], values['unit'])})"
        for row in values["rows"]
    ]
    more = values["count"] - len(rows)
    tail = f" and {more} more" if more else ""
    return f"Left out because they disagree with the other readings: {', '.join(rows)}{tail}."


def _two_scales(values: Values) -> str:
    lines = [*values["lines"], *["others"] * (len(values["lines"]) < values["count"])]
    return (
        f"{values['count']} of {values['total']} readings were taken for {values['noted']}, as they stand off the "
        f"others by just that: lines {joined(lines)}. Does the dial have two scales, or was its unit changed? Write "
        "the unit beside each reading."
    )


def _needle_falls(values: Values) -> str:
    low, high = (f"{100 * values[end]:.0f}" for end in ("least", "most"))
    lower = f"{low} %" if low == high else f"{low} to {high} %"
    if values["spells"]:
        return (
            f"The needle falls: in {values['spells']} spells, {100 * values['count'] / values['total']:.0f} % of the "
            f"rows, it showed {lower} too little for that speed as the dial is, and came up again. Those rows were "
            f"left out. Something loses turns or pulses: {TURNS_THE_NEEDLE}."
        )
    return (
        f"{values['count']} of {values['total']} readings lie {lower} below the line of the others, and hardly any "
        f"above it. If they were not misread, the needle falls: {WATCH_THE_NEEDLE}."
    )


def _clock_far(values: Values) -> str:
    hours = values["clock_offset_s"] / 3600
    side = "behind" if hours > 0 else "ahead of"
    return (
        f"The clock of the readings is {abs(hours):.1f} h {side} the GPS clock although its times name a zone; that "
        "zone may be wrong. The speeds match, so the readings were used."
    )


def _clock_local(values: Values) -> str:
    zone, slow = values["zone_s"], values["slow_s"]
    side = "ahead of" if zone > 0 else "behind"
    local = f"a time zone {abs(zone) / 3600:g} h {side} UTC" if zone else "UTC"
    days = values.get("days", 0)
    dated = f"The date of the readings is {counted(abs(days), 'day')} too {'early' if days > 0 else 'late'}. "
    return (
        f"{dated if days else ''}The readings were written in {local}, by a clock that is {abs(slow):.0f} s "
        f"{'slow' if slow > 0 else 'fast'}."
    )


def _clock_stepped(values: Values) -> str:
    steps = joined(
        f"{span(abs(row['forward_s']))} {'forward' if row['forward_s'] > 0 else 'back'} at line {row['line']}"
        for row in values["rows"]
    )
    return (
        "One of the two clocks was set on the way, or stood still: against that of the track, the clock of the "
        f"readings jumps {steps}. Each part was laid on the track by itself."
    )


def _minutes_apart(values: Values) -> str:
    unit = values["unit"]
    parts = joined(
        f"lines {row['first']} to {row['last']} ({span(row['lasts_s'])}), which show {speed(row['shown_mps'], unit)} "
        f"while the track shows {speed(row['ground_mps'], unit)}"
        for row in values["rows"]
    )
    return (
        f"Left out, since log and track do not belong together there: {parts}. A ferry, a trailer, wheels on a "
        "stand, or a display or receiver that hangs would do that. If the vehicle drove itself then, look at the cable "
        "or sensor, its plug and the logger."
    )


def _odometer_left_out(values: Values) -> str:
    lines = values["lines"]
    named = joined([*lines[:8], *([f"{len(lines) - 8} more"] if len(lines) > 8 else [])])
    which = "line" if len(lines) == 1 else "lines"
    return f"Odometer readings out of step with the others were left out: {which} {named}."


def _one_speed(values: Values) -> str:
    low, high, below, above = (
        speed(values[f"{name}_mps"], values.get("unit")) for name in ("low", "high", "below", "above")
    )
    driven = low if low == high else f"from {low} to {high}"
    faster = f" or above {above}" if values["above_mps"] < _USUAL_LIMIT_MPS else ""
    return f"nearly one speed only, {driven}; add steady runs below {below}{faster}."


def _few_speeds(values: Values) -> str:
    levels = joined(f"{speed(level, values['unit'])}" for level in values["levels_mps"])
    return f"only {levels} held; add steady runs at two more speeds." if levels else "no speed held; hold four of them."


def _dial_changes(values: Values) -> str:
    way = "higher" if values["difference"] > 0 else "lower"
    return (
        f"lines {values['first']} to {values['last']} read {100 * abs(values['difference']):.1f} % {way} than "
        "the rest, as with wheel slip, low range, another unit or another tire; split the log there and calibrate "
        "each part."
    )


def _dial_drifts(values: Values) -> str:
    way, cause = ("higher", "a tire loses air") if values["difference"] > 0 else ("lower", "cold tires warm up")
    return (
        f"it reads {100 * abs(values['difference']):.1f} % {way} at the end of the log than at its beginning, as when "
        f"{cause}; check the pressures and drive again with warm tires."
    )


FINDINGS: dict[str, Template] = {
    "speed_unit_unchecked": "The positions move too little to check the unit of the recorded speed; meters per second "
    "were assumed.",
    "speed_unit_found": lambda values: fill(
        "The recorded speed is {ratio:.2f} times the speed of the positions: the logger wrote {unit} where the format "
        "means m/s. It was converted.",
        values,
    ),
    "speed_against_positions": "The recorded speed is {ratio:.3f} times the speed of the positions; one of the two is "
    "off. Export the track without its speed column to use the positions.",
    "nearest_mark_taken": "All readings are multiples of {step_mps:speed} and were taken for the nearest mark. If the "
    "mark below the needle was noted, the dial shows {half_mps:speed1} more than is given here; if the needle was held "
    "on its marks, it is known far better: say how they were rounded.",
    "no_heights": "The track has no heights. On level roads that does not matter; in hills the vehicle was faster than "
    "the receiver says, by 0.05 % at grades of 3 % and 0.3 % at 8 %. Record heights too, "
    "or say whether the terrain was level, rolling or mountainous.",
    "speed_of_positions": "The recorded speed was worked out from the positions and adds nothing to them; the true "
    "speed was taken from the positions themselves.",
    "heights_steep": "By the heights of the track its road climbs and falls by {grade:percent} on average, more than "
    "mountain roads do. They may be in feet; the answer allows for both, and is closer with heights in meters.",
    "weeks_counted_anew": "The track is dated {weeks} weeks before the readings, as from a receiver whose "
    "1024-week counter rolled over; its dates were corrected.",
    "fixes_of_other_days": "Left out: {count:n fix/fixes} of the track, stamped days away from the readings, as "
    "receivers do before the first satellites, or of other drives.",
    "distance_between_fixes": lambda values: fill(
        "One fix in {interval_s:.0f} s: the distance was taken along the positions and made longer by "
        "{longer:percent1} for the corners cut between them, give or take "
        + ("{wide:percent1}." if 2 * values["u"] >= _LEAST_SAID else "less than {least:percent1}."),
        {**values, "wide": 2 * values["u"], "least": _LEAST_SAID},
    ),
    "reads_as_gps": "The log shows what GPS shows, to {within:percent1}. Apps may log the speed of GPS in place of the "
    "dial's: hold one speed and check that the dial shows what the log says.",
    "vehicle_leans": "The dial shows up to {most:percent1} more in bends, as on a motorcycle that leans "
    "onto the shoulders of its tires; the result is for driving straight.",
    "receiver_in_bends": "The receiver smoothed what it recorded, so in bends its speed is off by up to "
    "{most:percent1}; this was corrected by how the dial follows.",
    "positions_smoothed": "The positions were smoothed, over some {smoothed_s:.0f} s, which cuts bends and rounds off "
    "changes of speed; both were corrected by how the dial follows. Recorded speed would give a surer answer.",
    "track_left_out": lambda values: f"Left out of the track: {labelled(values['counts'])}.",
    "readings_beside_track": "{count} of {total} readings were taken where the track tells no speed, before it begins, "
    "after it ends or in a gap, and are not used.",
    "readings_left_out": lambda values: f"Left out of the readings: {labelled(values['counts'])}.",
    "odometer_left_out": _odometer_left_out,
    "wrong_readings": _named,
    "two_scales": _two_scales,
    "clock_far": _clock_far,
    "clock_local": _clock_local,
    "clock_stepped": _clock_stepped,
    "minutes_apart": _minutes_apart,
    "needle_falls": _needle_falls,
    "needle_offset": lambda values: (
        f"The needle sits {speed(abs(values['offset_mps']), values['unit'], digits=1)} "
        f"{'high' if values['offset_mps'] > 0 else 'low'} at every speed; a gear change cannot cancel that part."
    ),
    "rests_on_one": "The slope of the dial rests on line {line} alone, near {at_mps:speed}: the intervals allow for a "
    "slip there, and one more reading near {at_mps:speed} would settle it.",
    "offset_assumed": "This drive can hardly tell a needle that sits wrong from a wrong gear, so part of the answer "
    "assumes a needle that sits right to within a mph or two (common practice, no source). Readings at more speeds "
    "would settle it.",
    "needle_at_stop": "Left out: {count:n row} with the needle at an end of its scale, {at_mps:speed}, which tells "
    "nothing.",
    "needle_hangs": "The needle hangs: speeding up it shows {play_mps:speed1} less, slowing down as much more. "
    "The figures lie midway; a cable, its drive or the needle sticks or has play.",
    "steps_of_another_unit": "The log holds no other speeds than whole {unit}, written in another unit and rounded "
    "again; each is taken for what the dial showed.",
    "rows_of_means": "Each row of the log is a mean over {span_s:.0f} s, so it is held against the mean speed of the "
    "track over as long.",
    "needle_damped": "The needle lags: it takes about {lag_s:.1f} s to follow a change of speed, a sound one less "
    "than a second. Readings at a steady speed are right all the same.",
    "bent_dial": lambda values: fill(
        "The dial is not straight: near a true {at_mps:speed} it shows {away_mps:speed1} {side} than a straight scale "
        "would. No gear cancels that.",
        {**values, "away_mps": abs(values["deviation_mps"]), "side": "more" if values["deviation_mps"] > 0 else "less"},
    ),
    "odometer_stands_still": lambda values: (
        f"The odometer shows the same figure throughout {distance(values['distance_m'], values['unit'])}: "
        "it stands still, or was not read again."
    ),
    "odometer_differs": lambda values: fill(
        "Needle and odometer are off by different factors: the odometer counts {odometer_factor:factor} of the true "
        "distance, the needle shows {error_factor:factor} of the true speed ({sure:.1f} % sure that they differ). The "
        "odometer is geared and the needle is not, so the difference lies in the instrument.",
        {**values, "sure": min(100 * values["probability"], 99.9)},
    ),
    "unit_suspected": "the readings are {factor:.2f} times the true speed; were they noted in {noted}? Correct the "
    "unit where it is named, or look at the dial and say which unit stands on it.",
    "few_readings": "only {count:n reading} could be used; note twenty.",
    "one_speed": _one_speed,
    "dial_not_checked": "only the odometer was checked; the same drive turns the dial, which may be off by itself. "
    "Add timed runs at a steady reading, or what a phone shows beside the dial.",
    "few_checks": "only {count:n check}; one more, on a mark between or beside those driven, would tell much more.",
    "log_unsettled": "track and log are both rounded so coarsely that their fit does not settle; record either in "
    "finer steps, or drive longer at more different speeds.",
    "fit_unsettled": "clock, lag and dial of this log do not settle on one answer, as for a log of another vehicle or "
    "one that was processed on the way; check that, and record once more.",
    "few_speeds": _few_speeds,
    "rounded_down": "all readings are multiples of {step_mps:speed}, and the needle seems to sit about half of that "
    "low. Was the mark below the needle noted, and not the nearest? Say how they were rounded, and that part goes.",
    "wrong_together": "{wrong} of the {total} readings in lines {first_line} to {last_line} disagree with the others, "
    "one after the other; was something different there: tires, gears, range, dial, unit, reader or vehicle? Calibrate "
    "each part by itself.",
    "needle_down": "From line {line} on {count:n reading shows/readings show} next to nothing while the vehicle went "
    "on; only those before are used. If they were not misread, the needle is no longer turned: look at the cable "
    "(broken or unscrewed), the driven gear, then the sensor and its plug.",
    "many_wrong": "{wrong} of {total} readings disagree with the others; check the file.",
    "large_scatter": lambda values: fill(
        "the readings stray by {scatter_mps:speed1} however the dial reads, more than one person "
        "misreads; does the needle swing? Were they all read off one instrument, in the vehicle that carried the GPS?"
        + " In steps of {marks_mps:speed} it may be the reading: note what the needle shows between its marks."
        * ("marks_mps" in values),
        values,
    ),
    "loosely_followed": "the readings stray by {scatter_mps:speed1} about the dial and follow this track hardly closer "
    "than those of the same road on another day, or of a vehicle behind, may. If they were read on this drive in this "
    "vehicle, look at what makes a needle swing: a worn, dry or kinked cable.",
    "track_gaps": "the track has gaps and tells the speed for only {covered:percent} of the drive; use it as it was "
    "recorded, with a GPS point a second or so.",
    "dial_moves": lambda values: fill(
        "Within the log the dial moves by {size:percent1} against the true speed, as when tires warm up or a load "
        "shifts. The answer is for the middle of that, and its range allows for the rest.",
        {**values, "size": abs(values["difference"])},
    ),
    "dial_changes": _dial_changes,
    "dial_drifts": _dial_drifts,
    "log_strays": "the log strays from the track by {wander_mps:speed1} for seconds at a time, even at steady speeds; "
    "were both recorded in the same vehicle, the receiver in view of the sky?",
    "two_readers": "the readings look like those of two watches, readers or dials; if tires, gears or range were "
    "changed on the way, calibrate each part by itself, or else let one person note all of them.",
    "gps_among_readings": "some of the readings look like GPS speed; note what the dial shows, without a look at a GPS "
    "display.",
    "dial_changed": "from some reading on the dial reads otherwise than before; if tires, gears or the dial were "
    "changed on the way, calibrate each part by itself, or else let one person note all readings.",
    "association_unproven": "a list without times may fit other drives too; note the time of a few readings.",
    "wide_interval": "at {at_mps:speed} the reading is known only to ±{half_width_mps:speed1}; two more steady runs "
    "near {at_mps:speed} would halve that.",
    "wide_by_steps": "at {at_mps:speed} the reading is known only to ±{half_width_mps:speed1}, by the steps of the "
    "notes; note what the dial shows between its marks.",
    "wide_by_view": "seen at an angle, the dial is known only to ±{half_width_mps:speed1} at {at_mps:speed}, however "
    "many readings there are; read it square on, or photograph or film it square on.",
}
"""Code to the sentence, with its full stop."""

LABELS: dict[str, str] = {
    "no_speed": "no speed or no time noted",
    "unusable": "not a road speed, or a time given twice",
    "no_ground_speed": "no GPS speed at that time",
    "too_slow": "standing, crawling or turning",
    "at_stop": "needle at an end of its scale",
    "spare": "more notes than are needed",
    "apart": "log or track stands or hangs while the other moves",
    "needle_down": "needle down while the vehicle went on",
    "wrong": "disagrees with the other readings",
    "unmatched": "matches no steady run",
    "no_recorded_speed": "fixes without recorded speed",
    "put_between": "put in between by a program, on straight lines",
    "impossible_jump": "impossible jump",
    "frozen_position": "position frozen while the vehicle went on",
    "step_of_positions": "step of the positions",
    "impossible_acceleration": "impossible acceleration",
    "scatter": "scatter of the readings",
    "resolution": "resolution of the readings",
    "ground_speed": "GPS speed",
    "clock_offset": "clock offset",
    "smoothed_positions": "smoothing of the positions",
    "rounding_habit": "rounding habit",
    "parallax": "angle of view",
    "second_reader": "a second reader, perhaps",
    "hanging_needle": "how far the needle hangs behind",
    "stated_common": "error common to all readings",
    "holding": "holding the speed",
    "true_speed": "true speed of each check",
    "shared_truth": "error common to all true speeds",
    "hills": "hills",
    "receiver": "recorded speed against positions",
    "change_on_way": "change on the way",
    "another_day": "tires on another day",
}
"""Short names of what is counted or listed."""
