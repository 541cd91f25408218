"""Names of the formats that are read, and of the reasons why a fix or a reading was left out."""

from __future__ import annotations

from collections.abc import Mapping

LABELS: dict[str, str] = {
    "gpx": "GPX",
    "gpx_1_0": "GPX 1.0",
    "gpx_1_1": "GPX 1.1",
    "gpx_waypoints": "GPX waypoints",
    "nmea": "NMEA 0183",
    "fit": "FIT",
    "fit_wheel": "FIT wheel sensor",
    "fit_field": "FIT field of the device",
    "tcx": "TCX",
    "kml": "KML",
    "json": "JSON",
    "track_json": "track in JSON",
    "sheet": "spreadsheet",
    "sheet_ods": "spreadsheet (.ods)",
    "sheet_xlsx": "spreadsheet (.xlsx)",
    "text": "table or notes",
    "table": "table",
    "table_commas": "table (commas)",
    "table_semicolons": "table (semicolons)",
    "table_tabs": "table (tabs)",
    "table_bars": "table (bars)",
    "table_long": "table (one measurement a row)",
    "track_table": "track table",
    "track_table_commas": "track table (commas)",
    "track_table_semicolons": "track table (semicolons)",
    "track_table_tabs": "track table (tabs)",
    "track_table_bars": "track table (bars)",
    "track_table_long": "track table (one measurement a row)",
    "notes": "plain notes",
    "held_speeds": "list of held speeds",
    "checks": "checks",
    "marked_invalid": "marked invalid by the receiver",
    "time_missing": "time missing or unreadable",
    "impossible_date": "impossible date",
    "no_position_yet": "no position yet (0, 0)",
    "no_position": "position missing or invalid",
    "fix_not_renewed": "fix not renewed",
    "repeated_time": "same time as the fix before",
    "backward_time": "time runs back",
    "time_covered": "time covered by a longer piece",
    "speed_missing": "no speed",
    "repeated_row": "row repeated",
    "line_without_speed": "line without a speed",
    "remark": "remark",
    "crossed_out": "crossed out",
    "summary_row": "row that sums up the others",
    "title_with_number": "title with a number in it",
    "waypoint_without_speed": "waypoint without a speed",
}
"""Short names of formats and of reasons why something was left out."""


def left_out(dropped: Mapping[str, int]) -> str:
    """Return what was left out, each reason with its count."""
    return ", ".join(f"{LABELS.get(reason, reason)}: {count}" for reason, count in dropped.items())
