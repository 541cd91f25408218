"""Words for reading files (rooms logs and simulate)."""

from __future__ import annotations

from speedcal.text.codes import format_messages
from speedcal.text.messages import Template, Values
from speedcal.text.words.numbers import counted, fill, joined, quoted

_AT_ONCE = "tracks of the same time are in different places: "
_CUT = "Cut it down to the drive"
_EXPORT = "Export it again from the program that made it"
_ONE_LOG = "Unpack it and give the one log you want"
_NAME_UNIT = "Write the unit into the header, such as 'speed mph', or give {--unit}"
_MEND = "Correct it, or take the line out"
_WRITE = "Write one reading a line, such as '10:32:15  45 mph', or a table with a header"
_PARTS = {"file": "the file", "unpacked": "what the file unpacks to", "member": "a file in the archive"}
_FOUND = {
    "pdf": "a PDF document",
    "picture": "a picture",
    "sound": "a sound recording",
    "film": "a film",
    "document": "a text document with layout",
    "web_page": "a web page",
    "archive_in_archive": "an archive inside an archive",
    "old_office": "an old spreadsheet or document (.xls, .doc)",
    "other_archive": "an archive of another kind than zip",
    "database": "a database",
}
_INSTEAD = {
    "picture": "Give the log itself; what stands in a picture has to be typed, one reading a line",
    "sound": "Write down what is said, one reading a line, such as '14 minutes 20, 45 mph'",
    "film": "Give the log itself; a film of the dial is read in its own place",
    "document": "Save it as plain text or as a table with commas",
    "other_archive": "Unpack it and give the log itself",
    "web_page": "Open it, and save the log that it offers",
}
_PARTS_OF_DEGREE = {
    0: "radians",
    60: "minutes of arc",
    1_000_000: "millionths of a degree",
    10_000_000: "ten-millionths of a degree",
}
_DAMAGED = {
    "zip": "a zip archive",
    "gzip": "a gzip file",
    "spreadsheet": "a spreadsheet",
    "document": "a document",
    "fit": "FIT",
    "json": "JSON",
}
_SENTENCES = {
    "cut_off": "cut off before the checksum",
    "wrong_checksum": "wrong checksum",
    "unreadable_fields": "fields that cannot be read",
}


def _format(name: str) -> str:
    return format_messages.LABELS.get(name, name)


def _no_fixes(values: Values) -> str:
    what = "the track has no usable fix" if not values["count"] else "the track has one usable fix only"
    return what + (f" (left out: {format_messages.left_out(values['dropped'])})" if values["dropped"] else "")


def _columns(values: Values) -> str:
    names = [quoted(name) for name in values["columns"]]
    return joined(names) if names else "none"


def _named_by(values: Values) -> str:
    """Return what names several sessions: a column, lines of their own, or nothing but where they are."""
    if values["column"] is None:
        return _AT_ONCE
    where = f"column {quoted(values['column'])} names" if values["column"] else "lines between the rows name"
    return f"{where} {values['count']} of them: "


def _too_many(values: Values) -> str:
    return f"there are more than {values['most']} {values['what']}"


def _several(template: str) -> Template:
    return lambda values: fill(template, {**values, "names": _columns(values)})


def _meant(values: Values) -> str:
    if values["meant"] is not None:
        return f"Did you mean {values['meant']!r}?"
    return f"The columns are {_columns(values)}"


def _without_unit(values: Values) -> str:
    proposed = f"; the positions in the file would fit {values['proposed']}" if values["proposed"] else ""
    return f"column {quoted(values['column'])} does not state its unit{_named(values)}{proposed}"


def _no_unit(values: Values) -> str:
    return f"the unit of the speeds is not stated{_named(values)}"


def _named(values: Values) -> str:
    return f", and {values['named']} behind this one may hold for it alone" if "named" in values else ""


def _contradict(values: Values) -> str:
    who = {"header": "the header says", "cells": "the cells say", "option": "the unit given is"}
    return "the units contradict each other: " + ", ".join(f"{who[k]} {unit}" for k, unit in values["found"].items())


def _thousands(values: Values) -> str:
    found = str(values["found"])
    plain = found.replace(",", "").replace(".", "")
    return f"the odometer {found!r} may mean {plain} or {found.replace(',', '.')}0"


def _decimals_lost(values: Values) -> str:
    done = f"{values['repaired']} were restored from their neighbors" if values["repaired"] else ""
    gone = f"{values['left_out']} were left out" if values["left_out"] else ""
    what = joined(filter(None, [done, gone]))
    return f"Values in column {quoted(values['column'])} had lost their decimal point; {what}."


def _column_of_several(values: Values) -> str:
    others = ", ".join(map(quoted, values["others"]))
    return f"column {quoted(values['column'])}; not used for that: {others}."


def _most_rows(values: Values) -> str:
    column = f" of column {quoted(values['column'])}" if values["column"] else ""
    return f"{counted(values['count'], 'line')}{column} cannot be read, the first of them"


def _rows_unreadable(values: Values) -> str:
    row = values.get("counted", "line")  # as the form of the page counts what is typed into it
    named = [f"{row} {problem.line}: {problem.text}" for problem in values["problems"]]
    more = [f"and {values['count'] - len(named)} more"] if values["count"] > len(named) else []
    count = counted(values["count"], f"{row} is/{row}s are")
    return f"{count} left out for what stands there ({'; '.join(named + more)})."


REFUSALS: dict[str, tuple[Template, Template]] = {
    "several_problems": (
        lambda values: f"{len(values['problems'])} problems",
        lambda values: str(values.get("remedy", "")),
    ),
    "nul_bytes": ("the file holds NUL bytes and is not text", _EXPORT),
    "too_many": (_too_many, _CUT),
    "file_damaged": (
        lambda values: f"the file cannot be read as {_DAMAGED[values['what']]}: {values['reason']}",
        "Copy it from the device again, or export it again",
    ),
    "false_encoding": ("the file says it is in {encoding} but does not look like it", "Save it as UTF-8"),
    "invalid_encoding": ("the text is not valid {encoding}", "Save it as UTF-8"),
    "is_a_folder": ("this is a folder, not a file", "Name the file in it"),
    "file_not_opened": ("the file cannot be opened: {reason}", "Check the name"),
    "empty_file": ("the file is empty", "Record or export the drive again"),
    "archive_too_full": ("the archive holds {count:n file}", _ONE_LOG),
    "log_attached": (
        lambda values: f"the mail holds no readings itself, but {joined(map(quoted, values['names']))} attached to it",
        "Save what is attached and give that",
    ),
    "archive_locked": ("the archive asks for a password", "Unpack it with the password and give the log itself"),
    "empty_archive": ("the archive is empty", "Put the log into it or give the log itself"),
    "several_files_in_archive": (
        lambda values: "the archive holds several files: " + ", ".join(map(repr, values["names"])),
        f"{_ONE_LOG}; each piece of a drive counts as a drive of its own, all with the same readings",
    ),
    "too_large": (
        lambda values: f"{_PARTS[values['part']]} is larger than {values['most_mb']} MB, more than any drive needs",
        "Cut the recording down to the drive",
    ),
    "not_a_log": (
        lambda values: f"the file is {_FOUND[values['found']]}",
        lambda values: _INSTEAD.get(values["found"], "Export the log itself, as GPX or as a table with commas"),
    ),
    "unknown_format": (
        "this kind of file is not supported",
        lambda values: "Give one of: " + ", ".join(map(_format, values["known"])),
    ),
    "no_track_in_format": (
        lambda values: f"the file is {_format(values['format'])} and holds no track",
        "Give the recording of the receiver",
    ),
    "no_readings_in_format": (
        lambda values: f"the file is a {_format(values['format'])} track and holds no readings",
        "Give what the instrument showed",
    ),
    "xml_too_deep": ("elements are nested more than {most} deep", "Export the recording again"),
    "xml_too_large": ("there are more than {most} elements", _CUT),
    "endless_tag": ("a tag or comment goes on for more than {most} MB", "Export the recording again"),
    "doctype": ("the document carries a DOCTYPE declaration", "Export the recording again; it needs none"),
    "damaged_xml": ("the XML is damaged: {reason}", "The file may have been cut off or edited; export it again"),
    "other_xml": ("the XML document is {found:quoted}, not GPX", "Export the recording as GPX"),
    "points_outside": ("{count:n track point is/track points are} outside a track segment", "Export it again"),
    "planned_route": ("the file holds a planned route, not a recorded drive", "Give the recording"),
    "no_timed_track": (
        "the file holds positions without times: a plan, or a recording that was saved without them",
        "Export the recording itself with the time of each position, as GPX",
    ),
    "times_without_positions": ("track {track} has {times} times for {positions} positions", "Export it again"),
    "no_fixes": (_no_fixes, "Give the recording of a drive, with times and positions"),
    "no_positions": (
        _several("there are no columns for latitude and longitude; the columns are {names}"),
        "Give the recording of the receiver, with its positions, as the track; track and readings may be swapped",
    ),
    "nothing_to_trim": (
        "the file holds no positions, so nothing in it tells where the drive began or ended",
        "Hand it on as it is",
    ),
    "positions_unread": (
        lambda values: f"positions such as {joined([quoted(cell) for cell in values['found']])} are not understood",
        "Export them in decimal degrees, such as 48.1372 and 11.5755, or name their unit in the header, such as "
        "'lat E6'",
    ),
    "files_exchanged": (
        "the file was given as the track and is none, and {found:quoted}, given as the readings, is a track",
        "Exchange the two",
    ),
    "no_time_column": (_several("no column holds a time; the columns are {names}"), "Export it with times"),
    "no_table": (
        "the text holds no table with a header row, and no other kind of track",
        "Give GPX, NMEA, FIT, TCX, KML or a table with columns time, latitude and longitude; track and readings may be "
        "swapped",
    ),
    "no_names_above": (
        "no line names the {width} columns; the first line is {found:quoted}",
        "Put names above them, such as 'time,latitude,longitude,gps speed m/s,vehicle speed km/h'",
    ),
    "no_list_of_records": (
        "the JSON holds no list of measurements",
        'Give objects with a time each, such as {{"time": ..., "vehicle speed km/h": ...}}, in a list or one a line',
    ),
    "no_table_in_sheet": (
        "no sheet holds a header row above data",
        "Put a header row such as 'time' and 'indicated mph' above the readings",
    ),
    "line_too_long": ("the line has {length} characters", "Give a table with one row a line"),
    "checks_as_readings": (
        "column {column:quoted} tells how long a distance took, not when a reading was taken",
        "Such checks need no track: give the file alone",
    ),
    "too_long_for_notes": (
        "the {count} lines of text are more than anybody notes on a drive",
        "Give a table with a header, such as 'time,indicated mph', or cut the text down to the drive",
    ),
    "open_quotation": ("the row cannot be split: {reason}", "Close every quotation mark"),
    "data_above_header": (
        "{count:n row of data is/rows of data are} above the header in line {header_line}",
        "Put the header into the first line",
    ),
    "second_table": (
        "another table begins below the one of line {header_line}",
        "Put each table into a file of its own; runs of one kind may stand in one table",
    ),
    "several_sessions": (
        lambda values: (
            _named_by(values)
            + joined(map(quoted, values["names"]))
            + (" and more" if values["count"] > len(values["names"]) else "")
        ),
        lambda values: fill(
            "Say which one is meant with {--session}"
            + ("" if values["column"] is None else ", or 'all' where they are parts of one drive"),
            values,
        ),
    ),
    "no_such_session": (
        lambda values: (
            f"{quoted(values['found'])} is none of the {values['count']}"
            + (f" in column {quoted(values['column'])}" if values["column"] else "")
            + ": "
            f"{joined(map(quoted, values['names']))}" + (" and more" if values["count"] > len(values["names"]) else "")
        ),
        "Give one of them with {--session}; where track and readings name it differently, both names with ; between",
    ),
    "hours_or_minutes": (
        "the times may be hours and minutes or minutes and seconds",
        "Head the column 'time hh:mm' or 'elapsed mm:ss', or write such a line on top",
    ),
    "some_with_seconds": (
        "some times have seconds and some may be minutes and seconds",
        "Head the column 'time hh:mm' or 'elapsed mm:ss', or write the seconds everywhere",
    ),
    "times_run_back": (
        "the times run back too often for those of one drive; they may be those of laps, each counted from the last",
        "Give times since the start, or the time of day, in their order",
    ),
    "clock_said_wrong": (
        "the readings and the track have no time in common once the clock of the readings is set as was said",
        "Leave {--clock-offset} out, or correct it: what must be added to that clock, its zone included, to get UTC",
    ),
    "unknown_zone": ("the time zone {found!r} is not known", "Write it as +02:00, or as its IANA name"),
    "unknown_speed_unit": ("{found:quoted} is not a unit of speed", "Give mph, km/h, m/s or kn"),
    "no_speed_unit": (_no_unit, "Write it after the speeds (45 mph) or give {--unit}"),
    "several_units": (
        lambda values: f"several units are named: {', '.join(values['units'])}",
        "Keep to one unit: convert the others (1 mile is 1.609344 km), or put each unit into a file of its own",
    ),
    "too_many_checks": (
        "{count} rows are a log, not a list of checks; at most {most} checks are taken",
        "Put a column with the time of each row beside them, to the second, and headers such as 'GPS speed (mph)' and "
        "'vehicle speed (mph)': they are then read as the log of a drive. Where rows lie more than 15 s apart, leave "
        "out every other one",
    ),
    "column_without_unit": (_without_unit, _NAME_UNIT),
    "decimals_apart": (
        "the decimals of column {column:quoted} stand behind a comma, in a cell of their own",
        "Export with decimal points, or with semicolons between cells",
    ),
    "dial_unit_contradicts": (
        "the readings are in {speed_unit}, and {seen} is what stands on the dial",
        "Correct one of them; on a dial with two scales, it is the one that was read",
    ),
    "units_contradict": (_contradict, "Correct one of them"),
    "truth_as_instrument": (
        lambda values: (
            (f"column {quoted(values['column'])}" if "column" in values else "what is given as the reading")
            + " is the speed of the GPS receiver or worked out from it, which is what the instrument is checked against"
        ),
        "Give what the instrument showed; where the column is the vehicle's own speed, call it 'vehicle speed'",
    ),
    "several_speed_columns": (
        _several("several columns may hold the indicated speed: {names}"),
        "Name the one to use with {--column}",
    ),
    "no_certain_column": (
        _several("it is not clear which column holds what the instrument showed: {names}"),
        "Call it 'indicated' with its unit, or name it with {--column}",
    ),
    "no_speed_column": (
        _several("no column holds a speed; the columns are {names}"),
        "Write a header such as 'time,indicated mph', or name the column with {--column}",
    ),
    "no_engine_column": (
        _several("it is not clear which column holds the engine speed; the columns are {names}"),
        "Name it with {--column}",
    ),
    "several_named_columns": (
        _several("several columns are called {found!r}: {names}"),
        "Name one by its whole header",
    ),
    "no_such_column": ("there is no column {found!r}", _meant),
    "no_wheel_sensor": (
        "the records hold no speed of a wheel sensor or of another instrument",
        "Give what the instrument showed in a file of its own, or name a field with {--column}",
    ),
    "thousands_or_decimals": (_thousands, "Write thousands without a mark, or one more decimal"),
    "no_named_waypoints": (
        "the GPX file has no waypoint that is named with a speed",
        "Give the readings in a table or notes, or name waypoints with them, such as '45 mph'",
    ),
    "unknown_saying": (
        lambda values: f"{values['key']} is {values['found']!r}",
        lambda values: f"Write {joined(values['known'], 'or')}",
    ),
    "readings_missing": ("the file holds no readings", _WRITE),
    "impossible_dates": (
        "the dates lie before 1990 or after 2090",
        "Set the clock of the logger or leave the date out",
    ),
    "most_rows_unreadable": (
        _most_rows,
        lambda values: (
            fill("Name the right column with {--column}", values)
            + ("" if values.get("place") == "form" else "; 'speedcal inspect' says what each was taken for")
            if values["column"]
            else ""
        ),
    ),
    "nothing_left_of_drive": ("no part of the drive is farther than {cut_m:g} m from its ends", "Give a smaller --cut"),
    "impossible_speed": ("{speed_mps:speed} is not the speed of a road vehicle", _MEND),
    "impossible_uncertainty": (
        "an uncertainty of {u_mps:speed2} cannot be",
        "Write a standard uncertainty above zero, or leave the cell empty",
    ),
    "impossible_odometer": ("{found:quoted} is not the count of an odometer", "Correct it or leave the cell empty"),
    "cell_not_a_number": ("{found:quoted} is not a number", _MEND),
    "cell_too_narrow": (
        "{found:quoted} stands where a column was too narrow for its values",
        "Widen the column and save it again",
    ),
    "not_a_time": ("{found:quoted} is not a time", _WRITE),
    "time_unlike_others": ("the time {found!r} is not written like the others, such as {example!r}", _WRITE),
    "date_unlike_others": ("{found} is not a date in the order that the other lines have", "Correct the date"),
    "row_too_long": ("the row has {count} cells, the header {width}", "Correct the row or the header"),
    "no_time_in_line": ("there is no time in this line", _WRITE),
    "note_too_long": ("the line has {length} characters and is not a note", _WRITE),
    "no_reading_in_line": ("there is no reading in {found!r}", _WRITE),
    "number_behind_words": (
        "the number in {found!r} stands behind words, unlike the others",
        "If the dial showed it, write it as the others, such as '10:32:15  45 mph'",
    ),
    "letter_for_digit": ("{found!r} has a letter where a figure belongs", "Write 0 for o and 1 for l or I"),
    "numbers_in_words": (
        "the numbers in {found!r} are in words",
        "Write them in figures, such as '3:15 pm  45 mph' or 'dial 60, gps 57'",
    ),
    "several_numbers": ("{found!r} has {count} numbers, and it is not clear which is the speed", _WRITE),
    "repeats_unread": ("{found!r} repeats a line that cannot be read", _WRITE),
    "one_sided": (
        "{found!r} only says that the dial showed more or less than that",
        "Write what it showed, or strike the line out where the needle had left its scale",
    ),
    "time_goes_on": ("the time in {found!r} is not clear", _WRITE),
    "thousands_in_note": ("a number in {found!r} may have thousands or decimals", "Write it without a thousands mark"),
    "list_or_decimals": (
        "the commas in {found!r} may separate speeds or be decimal marks",
        "Put one speed on a line, or semicolons between them",
    ),
}
"""Code to what is wrong and what to do, both without full stop."""

FINDINGS: dict[str, Template] = {
    "speed_unit_assumed": lambda values: (
        f"Column {quoted(values['column'])} names no unit and was taken as {values.get('speed_unit', 'm/s')}."
    ),
    "positions_not_in_degrees": lambda values: (
        "The positions are not in degrees; they were taken for "
        f"{_PARTS_OF_DEGREE.get(round(values['a_degree']), 'semicircles, 2^31 to 180 degrees')}."
    ),
    "positions_in_minutes": "The positions are written as degrees and minutes without anything between (ddmm.mmmm).",
    "speed_unit_by_positions": "Column {column:quoted} names no unit; judging by the positions it is {speed_unit}.",
    "speed_unit_contradicted": "Column {column:quoted} says {named}, but judging by the positions it is {speed_unit}.",
    "speed_not_of_receiver": "The speed in column {column:quoted} may be the vehicle's own, so positions were used.",
    "speed_column": lambda values: f"What the dial showed was taken from {_column_of_several(values)}",
    "speed_alone": "The file has the speed of the receiver and no positions, so nothing checks that speed or its unit; "
    "the answer allows for how far receivers differ.",
    "track_speed_column": lambda values: f"The true speed was taken from {_column_of_several(values)}",
    "status_not_applied": "Column {column:quoted} would mark {count} fixes as invalid, most of the file; "
    "it was ignored.",
    "decimals_lost": _decimals_lost,
    "marks_for_nothing": "{count:n cell} of column {column:quoted} hold a mark for no value, not a speed, and count as "
    "missing.",
    "positions_swapped": "Latitude and longitude stand in each other's place; they were exchanged.",
    "newest_first": "The file lists the newest fix first; it was read from its end.",
    "rows_exchanged": "{count:n row} ran back in time; the fixes were put in the order of their times.",
    "fixes_share_stamps": "Several fixes share a time; they were spread evenly over its step of {step_s:g} s.",
    "blocks_side_by_side": "The {count} blocks of columns side by side were read as one list, one after the other.",
    "rows_on_change": "The log has a row only where the speed changes ({count:n row}); between, it was taken to stay.",
    "fixes_of_a_timer": (
        "An app took the fixes every {period_s:.3f} s by its own timer, while the receiver gives one each second; "
        "their times were worked out."
    ),
    "stamps_of_a_timer": "The {of} come every {period_s:.2f} s, stamped in whole seconds; their times were worked out.",
    "readings_share_stamps": "{count} readings share each time; they were spread evenly over its step of {step_s:g} s.",
    "readings_in_bundles": (
        "The log sent {count} readings at a time under one stamp; they were spread evenly over the time before it, one "
        "each {period_s:.2f} s."
    ),
    "rows_unreadable": _rows_unreadable,
    "dial_unit_seen": "Somebody looked: the dial is marked in {speed_unit}.",
    "waypoints_as_fixes": "The file holds no track; {count:n waypoint} with times are taken for the fixes.",
    "zero_speed_under_way": "{count:n recorded speed is/recorded speeds are} 0 while the positions go on, and count as"
    " missing.",
    "negative_speed": "{count:n recorded speed is/recorded speeds are} negative and count as missing.",
    "time_without_zone": "The times carry no zone and were taken as UTC.",
    "sentences_refused": lambda values: (
        f"{counted(values['count'], 'sentence')} left out: {_SENTENCES[values['reason']]}."
    ),
    "no_checksums": "The sentences carry no checksums, so damage cannot be seen.",
    "second_talker": "Another receiver reports at the same time ({left_out:and}); its sentences were left out.",
    "wrong_checksum": "The checksum of the file is wrong: part of it may be damaged.",
    "cut_off": "The file is cut off or damaged after {count:n record}; those before were used. "
    "Give the whole file if there is one.",
    "hours_and_minutes": "Times such as 10:32 were taken as hours and minutes; minutes and seconds would make a drive "
    "of {otherwise_s:seconds}.",
    "minutes_and_seconds": "Times such as 10:32 were taken as minutes and seconds since the start.",
    "zone_unused": "The times carry no date, so the named zone cannot be applied; every zone is tried instead.",
    "date_unclear": "The date {found} can mean two days; only the time of day is used.",
    "daylight_saving": "The clock jumps by an hour on the hour: taken as the {change} of daylight saving and undone.",
    "no_times": "Column {column:quoted} holds no time: the speeds are taken as held one after the other.",
    "fraction_of_day": "Times between 0 and 1 were taken as fractions of a day, as spreadsheets write clock times.",
    "clock_digits": "Times such as 103215 were taken as clock times without colons, 10:32:15.",
    "minutes_in_digits": "Times such as 14.03 or 1403 were taken as hours and minutes; seconds would be no drive.",
    "elapsed_unit": lambda values: (
        "The times are numbers without a unit and were taken as "
        f"{'seconds' if values['unit_s'] == 1 else 'milliseconds'} since the start."
    ),
    "odometer_unread": "The odometer in column {column:quoted} was not used; {found:quoted} is not a number.",
    "odometers_unused": lambda values: f"Several odometer columns ({_columns(values)}): none was used.",
    "odometer_unit_assumed": "The odometer column has no unit; taken as {length_unit} because the speeds are in "
    "{speed_unit}.",
    "may_be_truth": "the readings may be a copy of the recorded GPS speed; this drive cannot tell, because its speed "
    "hardly changes.",
    "clock_never_set": lambda values: (
        f"The dates are those of a clock that was never set (it begins in {values['year']}): "
        + (
            "of the times of the fixes only the time of day is used."
            if values["of"] == "fixes"
            else "the times were taken as seconds since an unknown start."
        )
    ),
    "dead_band": "No speed between 0 and {slowest_mps:speed1} occurs: zeros may stand for slow driving.",
}
"""Code to the sentence, with its full stop."""
