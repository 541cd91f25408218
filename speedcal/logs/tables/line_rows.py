"""Lines that are a table without a mark between the cells: named values, statements of a database, aligned columns.

Answers of a vehicle to the request for its speed (SAE J1979, mode 01, PID 0D) are one too: ``41 0D 3C`` is 60 km/h.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence

from speedcal.logs.writing.headers import read_heading
from speedcal.logs.writing.patterns import late_pattern
from speedcal.logs.writing.written_times import parse_stamp

Line = tuple[int, str]
"""Number and text."""
Split = tuple[list[list[str]], list[int]]
"""Cells of the rows, the header first, and the line of each."""

_LOOKED_AT = 40
_NAMED = late_pattern(r"([A-Za-z_][\w.]{0,60})=(.*?)(?=[\s,;|]+[A-Za-z_][\w.]{0,60}=|[\s,;|]*$)")
_INSERT = late_pattern(r"\s*insert\s+into\s+[^\s(]+\s*\(([^()]*)\)\s*values\b(.*)", re.IGNORECASE)
_BETWEEN_ROWS = late_pattern(r"\)\s*,\s*\(")
_ANSWER = late_pattern(
    r"(?<![0-9A-Za-z.])(?:7E[89A-F][ #:]?(?:0?3 ?))?41 ?0D ?([0-9A-F]{2})[ 0-9A-F]{0,24}[\">\s]*$", re.IGNORECASE
)
_FEWEST_ANSWERS, _ANSWERS = 3, 0.2
"""Answers at least, and as a share of the lines: requests, echoes and other quantities stand between them."""
_WITH_HALF = late_pattern(r"(\d)\s+([ap]\.?m\.?)(?=\s|$)", re.IGNORECASE)
"""A time and its half of the day, which are one cell."""
_FEWEST_NAMED, _FEWEST_ALIGNED, _HEADER_WITHIN = 3, 3, 4
_MOST_NAMES = 400


def split_lines(lines: Sequence[Line], *, divided: bool) -> Split | None:
    """Return the rows of a vehicle's answers, of lines such as ``ts=1 lat=48.1``, ``INSERT INTO`` or aligned columns.

    Parameters
    ----------
    lines
        Without comments and blank ones.
    divided
        Whether most of them hold one mark equally often; blanks are then part of the cells.
    """
    return _answered(lines) or _inserted(lines) or _named(lines) or (None if divided else _aligned(lines))


def _answered(lines: Sequence[Line]) -> Split | None:
    """Return the speeds that a vehicle answered, one byte in km/h each, with the times that stand before them."""
    sample = [_ANSWER.search(text) for _, text in lines[:_LOOKED_AT]]
    if sum(1 for found in sample if found) < max(_FEWEST_ANSWERS, _ANSWERS * len(sample)):
        return None
    answers = [(number, found) for number, text in lines if (found := _ANSWER.search(text))]
    cells = [[_time_before(found), str(int(found[1], 16))] for _, found in answers]
    return [["time", "vehicle speed km/h"], *cells], [lines[0][0], *(number for number, _ in answers)]


def _time_before(answer: re.Match[str]) -> str:
    """Return the time that stands before an answer, in brackets or alone, empty where none does."""
    words = [word for part in re.split(r"[,;\t]", answer.string[: answer.start()]) for word in part.split()]
    plain = [word.strip("()[]<>:") for word in words]
    for text in (" ".join(plain[:2]), *plain[:2]):
        if text and parse_stamp(text):
            return text
    return ""


def _named(lines: Sequence[Line]) -> Split | None:
    """Return the values of lines of names and values; what stands before the first name must be the time."""
    sample = lines[:_LOOKED_AT]
    if not sample or any(text.count("=") < _FEWEST_NAMED for _, text in sample):
        return None
    before = [_before_names(text) for _, text in sample]
    if any(before) and not all(parse_stamp(words) for words in before):
        return None
    names: dict[str, int] = {"time": 0} if any(before) else {}
    cells, numbers = [], []
    for number, text in lines:
        row: dict[int, str] = {0: _before_names(text)} if any(before) else {}
        for name, value in _NAMED.findall(text):
            if name in names or len(names) < _MOST_NAMES:
                row[names.setdefault(name, len(names))] = value.strip(" \t,;|\"'")
        cells.append([row.get(i, "") for i in range(len(names))])
        numbers.append(number)
    return ([list(names), *cells], [lines[0][0], *numbers]) if len(names) >= _FEWEST_NAMED else None


def _before_names(text: str) -> str:
    found = _NAMED.search(text)
    return text[: found.start()].strip(" \t,;|").removesuffix(":") if found else text.strip()


def _inserted(lines: Sequence[Line]) -> Split | None:
    header: list[str] = []
    cells, numbers = [], []
    first = 0
    for number, text in lines:
        found = _INSERT.match(text)
        if found is not None:
            names = [name.strip(" `\"'[]") for name in found[1].split(",")]
            if header and names != header:
                return None
            header, first = names, first or number
            text = found[2]
        if header and text.strip().startswith("("):
            for row in _BETWEEN_ROWS.split(text.strip().rstrip(",; ").removeprefix("(").removesuffix(")")):
                cells.append(next(csv.reader([row], quotechar="'", skipinitialspace=True), []))
                numbers.append(number)
        elif not header and number > lines[0][0] + _LOOKED_AT:
            return None
    return ([header, *cells], [first, *numbers]) if cells else None


def _aligned(lines: Sequence[Line]) -> Split | None:
    """Return rows whose cells are parted by blanks under a header of as many names; one names the time.

    Words in lines between are units and sources, each of the name it stands under.
    """
    first = next((i for i in range(1, min(len(lines), _HEADER_WITHIN)) if _is_row(lines[i][1])), 0)
    if len(lines) < 3 or not first:
        return None
    width = len(_words(lines[first][1]))
    names = next((n for n in (re.split(r"\s{2,}|\t", lines[0][1].strip()), lines[0][1].split()) if len(n) == width), [])
    names = _with_words_under(names, lines[0][1], [text for _, text in lines[1:first]])
    roles = {read_heading(name).role for name in names}
    if width < _FEWEST_ALIGNED or not ({"time", "latitude", "longitude"} <= roles or {"time", "speed"} <= roles):
        return None
    rows = [_words(text) for _, text in lines[first:]]
    if any(character.isdigit() for name in names[:1] for character in name) or any(
        len(row) != width for row in rows[:_LOOKED_AT]
    ):
        return None
    return [names, *rows], [lines[0][0], *(number for number, _ in lines[first:])]


def _is_row(text: str) -> bool:
    """Tell whether half of the words of a line have figures; a sentence has fewer."""
    words = _words(text)
    return len(words) > 1 and 2 * sum(1 for word in words if any(map(str.isdigit, word))) >= len(words)


def _with_words_under(names: list[str], header: str, below: Sequence[str]) -> list[str]:
    """Return the names with each word of the lines below behind the one it stands nearest to."""
    starts: list[int] = []
    for name in names:
        starts.append(header.index(name, starts[-1] + 1 if starts else 0))
    told = list(names)
    for found in (word for text in below for word in re.finditer(r"\S+(?: \S+)*", text)):
        near = min(range(len(starts)), key=lambda i: abs(starts[i] - found.start()), default=None)
        if near is not None:
            told[near] += f" {found[0]}"
    return told


def _words(text: str) -> list[str]:
    return _WITH_HALF.sub(r"\1\2", text).split()
