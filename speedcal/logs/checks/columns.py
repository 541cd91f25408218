"""Headers of a file of checks: which column is the dial, which tells the truth, and how."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from typing import Literal

from speedcal.logs.source import Source
from speedcal.logs.tables.tabular import Table, named_column
from speedcal.logs.writing.headers import PHONE, Heading, normal, read_heading, speed_unit_in
from speedcal.logs.writing.patterns import late_pattern
from speedcal.logs.writing.written_times import parse_stamp
from speedcal.units import LENGTH_UNIT_M, SpeedUnit

Part = Literal[
    "dial", "true", "speed", "distance", "time", "start", "end", "post", "rpm", "gear", "odometer", "odometer_start",
    "odometer_end", "",
]  # fmt: skip
"""``speed`` names neither dial nor truth; ``start`` and ``end`` are the moments between which a distance was driven."""

_TRUE = late_pattern(
    rf"(?<![a-z])(?:gps|gnss|{PHONE}|true|actual|real|ground|satellite|app|receiver|radar|reference|calibrated"
    r"|calc(?:ulated)?|computed|wahr|tatsächlich|réelle?|wirklich|werkelijk|verklig)(?![a-z])"
)
_DIAL = late_pattern(r"indicated|speedo|dial|needle|pointer|instrument|dash(?![a-z])|tacho(?:graph|$)")
_POST = late_pattern(r"(?<![a-z])(?:mile|km|kilomet(?:er|re))?[ -]?(?:posts?|markers?|stones?|boards?)(?![a-z])")
_GEAR = late_pattern(r"(?<![a-z])gear(?![a-z])")
_TIME = late_pattern(
    r"(?<![a-z])(?:times?|seconds?|secs?|s|stop ?watch|watch|lap|duration|elapsed|min|minutes|clock"
    r"|se(?:k|g|kund(?:en?|er|y)|gundos?|condes?|condi|conden)|zeit|temps|tiempo|tempo|tijd|tid|czas)(?![a-z])|m:s|min:s"
)
_COUNTED = late_pattern(r"(?:lap|run|pass)s?(?: ?(?:no\.?|nr\.?|number|#))?")
"""The number of a run, where another column holds its time."""
_ERROR = late_pattern(
    r"(?<![a-z])(?:error|diff|delta|deviation|abweich|écart|ecart|diferen|scarto|verschil|off(?![a-z]))|%"
)
_START = late_pattern(r"(?<![a-z])(?:start|begin|beginning|from)(?![a-z])")
_END = late_pattern(r"(?<![a-z])(?:end|finish|stop(?! ?watch))(?![a-z])")
_DISTANCE = late_pattern(
    r"(?<![a-z])(?:dist[aâ]n[cz](?:e|ia)?|dist|course|length|stretch|section|measured|mapped|map|strecke|afstand|sträcka)"
    r"(?![a-z])"
)
_LENGTH = late_pattern(
    r"(?<![a-z])(?:(?P<count>\d/\d|\d{1,5}(?:[.,]\d{1,4})?|one|half(?: an?)?|quarter(?: of an?)?|two|three|five|ten)"
    r"[ -]+)?"
    r"(?P<unit>miles?|mi|kilomet(?:er|re)s?|km|met(?:er|re)s?|m|feet|ft)(?![a-z/])"
)
_NO_LENGTH = late_pattern(r"(?:trip|odo) ?met(?:er|re)s?|\bm{1,2}:s{1,2}(?:[.,]s+)?|\bh{1,2}:m{1,2}(?::s{1,2})?")
"""A trip meter is an instrument, and ``m:ss`` are minutes."""
_MINUTES = late_pattern(r"\d{1,2}:\d{2}(?:[.,:]\d{1,2})?")
_FEWEST_POSTS = 3
_COUNTS = {"one": 1.0, "half": 0.5, "quarter": 0.25, "two": 2.0, "three": 3.0, "five": 5.0, "ten": 10.0}


@dataclass(frozen=True, slots=True)
class Column:
    """What a column of checks holds."""

    index: int
    name: str
    part: Part
    speed_unit: SpeedUnit | None = None
    length_m: float | None = None
    """Metres in the unit of a distance, post or odometer."""
    over_m: float | None = None
    """Distance that every time of the column was taken over, where the header says it: ``time for a mile``. [m]"""


def check_columns(source: Source, table: Table, dial: str | None) -> list[Column]:
    """Return what each column holds, with one dial at the most.

    Parameters
    ----------
    dial
        Header of the dial's column, where the user named it.

    Raises
    ------
    ReadingsFormatError
        It is not certain which column is the dial, or which the true speed.
    """
    columns = [_column(i, read_heading(name)) for i, name in enumerate(table.header)]
    if dial is not None:
        index = named_column(source, table, dial)
        columns = [replace(column, part="dial") if column.index == index else column for column in columns]
        columns = [replace(c, part="true") if c.part == "dial" and c.index != index else c for c in columns]
    columns = _by_cells(table, columns)
    dials, plain, true = ([column for column in columns if column.part == part] for part in ("dial", "speed", "true"))
    if not dials and len(plain) == 1:
        columns = [replace(column, part="dial") if column.part == "speed" else column for column in columns]
    elif len(dials) > 1 or (not dials and plain):
        names = [column.name for column in (dials or plain)]
        source.fail("several_speed_columns", line=table.header_line, columns=names)
    elif plain or len(true) > 1:
        names = [column.name for column in (*true, *plain)]
        source.fail("several_true_columns", line=table.header_line, columns=names)
    return columns


def _by_cells(table: Table, columns: list[Column]) -> list[Column]:
    """Return the columns with their parts told apart by what stands in them where the names leave it open.

    A date and the number of a run are no time beside one; times of minutes and seconds under the name of a length were
    taken over it; and lengths that go on by one, passed at times that go on, are posts.
    """
    times = [column for column in columns if column.part == "time"]
    named = [column for column in times if not _is_no_time(column)]
    if named:
        columns = [replace(c, part="") if c.part == "time" and c not in named else c for c in columns]
    far = [column for column in columns if column.part == "distance"]
    if len(far) != 1 or far[0].length_m is None or len(named) > 1:
        return columns
    cells = [cell for cell in table.column(far[0].index) if cell]
    if not named and cells and all(map(_MINUTES.fullmatch, cells)):
        over = replace(far[0], part="time", length_m=None, over_m=far[0].length_m)
        return [over if column is far[0] else column for column in columns]
    if named and _are_posts(cells, table.column(named[0].index)):
        return [replace(column, part="post") if column is far[0] else column for column in columns]
    return columns


def _is_no_time(column: Column) -> bool:
    words = normal(column.name)
    return _COUNTED.fullmatch(words) is not None or read_heading(column.name).role == "date"


def _are_posts(cells: list[str], times: list[str]) -> bool:
    """Tell whether each row is the next post: no run takes from the first time on as long as all of them after it."""
    stamps = [parse_stamp(cell) for cell in times if cell]
    if len(cells) < _FEWEST_POSTS or len(stamps) != len(cells) or not all(cell.isdigit() for cell in cells):
        return False
    passed = [stamp.value for stamp in stamps if stamp is not None]
    steps = {int(after) - int(before) for before, after in pairwise(cells)}
    runs_on = len(passed) == len(cells) and all(before < after for before, after in pairwise(passed))
    return runs_on and steps in ({1}, {-1}) and (passed[0] == 0 or passed[0] > passed[-1] - passed[0])


def names_few(table: Table) -> bool:
    """Tell whether fewer than two columns say what they hold: such a header may be the words above notes."""
    return sum(1 for i, name in enumerate(table.header) if _column(i, read_heading(name)).part) < 2


def _column(index: int, heading: Heading) -> Column:
    words = normal(heading.name)
    length = _LENGTH.search(_NO_LENGTH.sub("", words))
    length_m = LENGTH_UNIT_M[length["unit"]] if length else None
    part = _part(words, heading, has_length=length is not None)
    over_m = None
    if part == "time" and length and length_m and (length_m > 1 or length["count"]):
        over_m = length_m * _count(length["count"])
    return Column(index, heading.name, part, speed_unit_in(words), length_m, over_m)


def _count(word: str | None) -> float:
    if word is None:
        return 1.0
    known = _COUNTS.get(word.split()[0])
    return float(Fraction(word.replace(",", "."))) if known is None else known


def _part(words: str, heading: Heading, *, has_length: bool) -> Part:
    if heading.role == "engine":
        return "rpm"
    if _GEAR.search(words):
        return "gear"
    if _POST.search(words):
        return "post"
    if _ERROR.search(words):
        return ""
    if heading.role == "odometer":
        return "odometer_start" if _START.search(words) else "odometer_end" if _END.search(words) else "odometer"
    if heading.role == "speed" or speed_unit_in(words) is not None:
        return (
            "dial"
            if _DIAL.search(words)
            else "true"
            if _TRUE.search(words)
            else "dial"
            if heading.origin == "instrument"
            else "speed"
        )
    if _TIME.search(words) or heading.role in {"time", "date"}:
        return "start" if _START.search(words) else "end" if _END.search(words) else "time"
    if has_length or _DISTANCE.search(words):
        return "distance"
    return "true" if _TRUE.search(words) else ""
