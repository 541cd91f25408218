"""How much of a file is read at most; every reader takes its limits from here.

They bound time and memory for files made to hurt, and lie far above any drive: a million fixes are
eleven days at one a second.
"""

from __future__ import annotations

MAX_BYTES = 400 * 1024 * 1024
"""Size of a file, and of what a compressed file unpacks to: a million fixes of GPX with height, speed and four more
extensions, 400 bytes each. [bytes]"""
MAX_MEMBERS = 200
"""Files listed in an archive."""
MAX_POINTS = 1_000_000
"""Fixes in a track, rows of a table."""
MAX_LINES = 3_000_000
"""Lines of a text file; a receiver writes several for each fix."""
MAX_COLUMNS = 1_000
"""Columns of a table."""
MAX_CELLS = 10_000_000
"""Cells of a table, empty ones included."""
MAX_LINE = 100_000
"""Characters in one line of a text file that is no XML."""
MAX_XML_DEPTH = 40
"""Elements inside elements of a document that is held in memory as a tree."""
MAX_XML_ELEMENTS = 12_000_000
"""Elements of an XML document that is read in passing: a million fixes, each with position, height, time and an
extension of eight."""
MAX_TREE_ELEMENTS = 1_500_000
"""Elements of an XML document that is held in memory as a tree, some 200 bytes each."""
EARLIEST_S = 631_152_000.0
"""1990-01-01: earlier dates come from clocks that were never set. [s since 1970-01-01 UTC]"""
LATEST_S = 3_786_912_000.0
"""2090-01-01: later dates are wrong. [s since 1970-01-01 UTC]"""
CLOCKS_BEGIN_S = {0.0: 1970, 315_532_800.0: 1980, 315_964_800.0: 1980, 946_684_800.0: 2000}
"""Where a clock begins that is never set, and the year: midnight of 1 January, and of 6 January 1980, from which GPS
counts (IS-GPS-200, 3.3.4). [s since 1970-01-01 UTC]"""
UNSET_MIDDLE_S, UNSET_REACH_S = 0.25 * 86400.0, 0.75 * 86400.0
"""From half a day before, by its zone, to a day after, such a clock has not been set. [s]"""
FASTEST_MPS = 170.0
"""Readings above this (612 km/h, 380 mph) are no speeds of a road vehicle."""
STANDS_MPS = 2.0
"""Below it a vehicle may stand for its dial and not yet for its receiver, or the other way round."""
MOST_CHECKS = 200
"""Checks that are weighed at once, for half a minute. More rows than that are a log, and its rows have times."""
