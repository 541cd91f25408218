"""Checks noted without a header row, as people write them: ``60  61.5 s  1 mile``, ``dial 55 gps 52``.

What each number is must stand on its line or in the words above; the rest is asked.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from speedcal.errors import Problem, raise_problems
from speedcal.logs.checks.words import LENGTH_UNIT, ODOMETER, SAID, TOKEN, Token, metres, read_tokens
from speedcal.logs.source import Source
from speedcal.logs.tables.handwriting import misread, without_struck
from speedcal.logs.tables.note_numbers import unit_in_remark
from speedcal.logs.tables.tabular import Table
from speedcal.logs.tables.typed_lines import without_senders
from speedcal.logs.writing.headers import speed_unit_in
from speedcal.logs.writing.number_words import in_figures
from speedcal.logs.writing.patterns import late_pattern
from speedcal.units import LENGTH_UNIT_M

_TITLE = late_pattern(
    r"(?P<dial>speedo(?:meter)?|\bdial\b|\bneedle\b|\bindicated\b|\bdash\b)"
    r"|(?P<true>\b(?:gps|phone|sat ?nav|app|actual|true|real|radar)\b)"
    r"|(?P<time>\b(?:times?|seconds?|secs?|stop ?watch)\b)|(?P<distance>\b(?:distance|dist|course|length)\b)"
    rf"|(?P<trip>{ODOMETER})|(?P<rpm>\brpm\b)|(?P<gear>\bgear(?: ratio)?\b)"
)
_TELLS = late_pattern(r"(?<![a-z])(?:beside|next to|near)(?![a-z])")
"""Words that say where something lay; the order of what they name is not that of the numbers below."""
_BULLET = late_pattern(
    r"(?:[-*•·–]\s+|\(?\d{1,2}[.)]\s+(?=\S)|(?:run|pass|check|test|lap)\s*#?\d{0,2}\s*[:.)-]\s*|#\d{1,2}\s*[:.)-]?\s+)+"
)
_DATE = late_pattern(r"\[?(?:\d{1,2}[./-]\d{1,2}[./-]\d{2,4}|\d{4}-\d\d-\d\d),?\s(?=\d{1,2}:\d\d)")
_PER_HOUR = late_pattern(r"miles? (?:per|an|a) hour|m\.p\.h\.?")
_KM_PER_HOUR = late_pattern(r"(?:kilomet(?:er|re)s?|km) (?:per|an) hour")
_CELLS = late_pattern(r"\s*(?:[;|/\t=→]|[-–]>|(?<![a-z])vs(?![a-z])\.?)\s*|,\s+|\s+")
_HEADINGS = {
    "dial": "dial", "true": "gps", "distance": "distance m", "time": "time", "rpm": "rpm", "gear": "gear ratio",
    "trip": "trip", "odometer_start": "odometer start", "odometer_end": "odometer end", "post": "mile post",
}  # fmt: skip
_ENOUGH = ({"dial", "true"}, {"dial", "distance", "time"}, {"dial", "rpm", "gear"}, {"post", "time"})
_COUNTED = ({"trip", "distance"}, {"odometer_start", "odometer_end", "distance"})
_LONGEST = 500
_MOST_LINES = 2_000
"""Nobody notes more checks; what is longer is a log."""


@dataclass(slots=True)
class _Sheet:
    """What the lines have said so far."""

    rows: list[dict[str, str]] = field(default_factory=list)
    line: list[int] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    title: list[tuple[str, str]] = field(default_factory=list)
    """Parts that the words above name, in order, each with the words about it."""
    unit: str = ""
    """Unit of speed that the words above name."""
    distance: str = ""
    """Distance that holds until another is named."""
    remarks: int = 0
    """Lines of words between the checks."""


def noted_checks(source: Source, lines: tuple[tuple[int, str], ...]) -> tuple[Table, int] | None:
    """Return checks noted a line each as a table, and the number of remarks; None where no line holds a check.

    Raises
    ------
    ReadingsFormatError
        There are checks, and lines whose numbers can be meant in two ways: all of them are listed.
    """
    if len(lines) > _MOST_LINES:
        return None
    sheet = _Sheet()
    for number, text in in_figures(without_senders(lines)):
        if len(text) <= _LONGEST:
            _take(sheet, number, text)
    if not sheet.rows:
        if sheet.problems and any(problem.code != "check_note_incomplete" for problem in sheet.problems):
            raise_problems(sheet.problems, source=source.name, kind=source.error)
        return None
    if sheet.problems:
        raise_problems(sheet.problems, source=source.name, kind=source.error)
    parts = [part for part in _HEADINGS if any(part in row for row in sheet.rows)]
    names = [f"{_HEADINGS[part]} {sheet.unit if part in ('dial', 'true') else ''}".strip() for part in parts]
    rows = [[row.get(part, "") for part in parts] for row in sheet.rows]
    return Table(names, rows, sheet.line, "", lines[0][0]), sheet.remarks


def is_check(text: str) -> bool:
    """Tell whether a line is a whole check by itself, and so no header."""
    return len(text) <= _LONGEST and isinstance(_read(_Sheet(), _tidy(text)), list)


def _tidy(text: str) -> str:
    """Return a line in lower case without what was crossed out and without the number or mark of an item of a list."""
    tidy = _KM_PER_HOUR.sub("km/h", _PER_HOUR.sub("mph", " ".join(without_struck(text).split()).lower()))
    dated = _DATE.match(tidy)
    tidy = tidy[dated.end() :] if dated else tidy
    bullet = _BULLET.match(tidy)
    return tidy[bullet.end() :] if bullet else tidy


def _take(sheet: _Sheet, number: int, text: str) -> None:
    tidy = _tidy(text)
    unreadable = misread(tidy)
    if unreadable and (not sheet.rows or unreadable == "letter_for_digit"):
        sheet.problems.append(Problem(unreadable, line=number, found=text.strip()[:60]))
        return
    if not any(character.isdigit() for character in tidy) and '"' not in tidy:
        _take_words(sheet, tidy)
        return
    found = _by_title(sheet, tidy) or _read(sheet, tidy)
    if isinstance(found, str):
        if not sheet.rows and _is_title(tidy):
            _take_words(sheet, tidy)
        elif found != "check_note_incomplete" or (sheet.rows and not _is_remark(tidy)):
            sheet.problems.append(Problem(found, line=number, found=text.strip()[:60]))
        else:
            _take_words(sheet, tidy)
        return
    for row in found:
        sheet.rows.append(row)
        sheet.line.append(number)
        sheet.distance = row.get("distance", sheet.distance)


def _is_remark(text: str) -> bool:
    """Tell whether a line is words with a number or two among them that say nothing of a check."""
    return {kind for kind, _ in read_tokens(text)} <= {"number", "apart"} and len(re.findall(r"[a-z]{2,}", text)) > 2


def _is_title(text: str) -> bool:
    """Tell whether a line begins with a word and its numbers have none that belongs to a check."""
    return text[:2].isalpha() and {kind for kind, _ in read_tokens(text)} <= {"number", "apart", "range"}


def _take_words(sheet: _Sheet, words: str) -> None:
    """Take a line without a check: above the first one it may name the parts, their unit and the distance.

    Below it a few words may name the unit that is open.
    """
    if sheet.rows:
        sheet.remarks += 1
        sheet.unit = sheet.unit or unit_in_remark(words) or ""
        return
    sheet.unit = speed_unit_in(words) or sheet.unit
    lengths = [text for kind, text in read_tokens(words) if kind == "distance"]
    if len(lengths) == 1:
        sheet.distance = f"{metres(lengths[0]):.10g}"
    named = list(_TITLE.finditer(words))
    ends = [*(match.start() for match in named[1:]), len(words)][: len(named)]
    parts = [(str(m.lastgroup), words[m.start() : end]) for m, end in zip(named, ends, strict=True)]
    if len(parts) > 1 and len({part for part, _ in parts}) == len(parts) and not _TELLS.search(words):
        sheet.title = parts


def _by_title(sheet: _Sheet, text: str) -> list[dict[str, str]] | str | None:
    """Return the one check of a line of bare cells, as many as the words above name."""
    cells = [cell for cell in _CELLS.split(text) if cell]
    kinds = [kind for kind, _ in read_tokens(text)]
    if len(cells) != len(sheet.title) or not all(cell[0].isdigit() for cell in cells) or "range" in kinds:
        return None
    row = {}
    for (part, words), cell in zip(sheet.title, cells, strict=True):
        unit = re.search(LENGTH_UNIT, words)
        if part == "distance":
            if unit is None or not re.fullmatch(r"\d+(?:[.,]\d+)?", cell):
                return None
            cell = f"{float(cell.replace(',', '.')) * LENGTH_UNIT_M[unit.group()]:.10g}"
        elif part == "trip" and unit is not None:
            cell = f"{cell} {unit.group()}"
        elif part in ("dial", "true") and (own := speed_unit_in(words)) and own != sheet.unit:
            return None
        row[part] = cell
    return _complete(sheet, row, [row["time"]] if "time" in row else [])


def _read(sheet: _Sheet, text: str) -> list[dict[str, str]] | str:
    """Return the checks of a line, or the code of what is unclear in it."""
    tokens = read_tokens(text)
    kinds = {kind for kind, _ in tokens}
    left = TOKEN.sub(" ", text)
    sheet.unit = sheet.unit or speed_unit_in(left) or ""
    if any(character.isdigit() for character in left):
        return "check_note_unclear" if sheet.rows or len(kinds) > 1 else "check_note_incomplete"
    row: dict[str, str] = {}
    for kind, words in tokens:
        if kind in SAID and not SAID[kind](row, words):
            return "check_note_unclear"
    unclear = _assign_speeds(sheet, row, tokens)
    if unclear:
        return unclear
    if {"about", "range"} & kinds:
        return "check_not_exact"
    return _complete(sheet, row, [words for kind, words in tokens if kind == "time"])


def _complete(sheet: _Sheet, row: dict[str, str], times: list[str]) -> list[dict[str, str]] | str:
    """Return one check for each time of a line, with the distance that holds, or what is missing."""
    if "distance" not in row and sheet.distance and times and "true" not in row and "post" not in row:
        row["distance"] = sheet.distance
    rows = [{**row, "time": time} for time in times] or [row]
    have = set(rows[0])
    if not any(need <= have for need in (*_ENOUGH, *_COUNTED)):
        return "check_note_incomplete"
    if len(times) > 1 and "post" in row:
        return "check_note_unclear"
    return rows


def _assign_speeds(sheet: _Sheet, row: dict[str, str], tokens: list[Token]) -> str:
    """Give each speed of a line to the dial or the truth: by the word beside it, else the only way that is left."""
    speeds = [
        (kind, text) for kind, text in tokens if kind in ("speed", "number", "dial", "true", "ditto", "range", "apart")
    ]
    owner: dict[int, str] = {}
    labels = [i for i, (kind, _) in enumerate(speeds) if kind in ("dial", "true")]
    left = set(labels)
    while left:  # a word whose neighbour can be only one number takes it
        near = {i: [j for j in (i - 1, i + 1) if _is_speed(speeds, j) and j not in owner] for i in left}
        sure = [i for i, numbers in near.items() if len(numbers) == 1]
        if not sure:
            break
        owner[near[sure[0]][0]] = speeds[sure[0]][0]
        left.discard(sure[0])
    if any(any(_is_speed(speeds, j) and j not in owner for j in (i - 1, i + 1)) for i in left):
        return "check_note_unclear"
    free = [j for j in range(len(speeds)) if _is_speed(speeds, j) and j not in owner]
    if len(free) > 1 or (free and "dial" in owner.values()):
        return "check_note_unclear"
    if free:
        owner[free[0]] = "dial"
    if len(set(owner.values())) < len(owner):
        return "check_note_unclear"
    for j, part in owner.items():
        kind, text = speeds[j]
        if kind == "ditto" and (not sheet.rows or part not in sheet.rows[-1]):
            return "check_note_unclear"
        row[part] = sheet.rows[-1][part] if kind == "ditto" else text
    return ""


def _is_speed(speeds: list[Token], j: int) -> bool:
    return 0 <= j < len(speeds) and speeds[j][0] in ("speed", "number", "ditto", "range")
