"""What people do to notes: cross out, dictate, and let a camera read them."""

from __future__ import annotations

from collections.abc import Sequence

from speedcal.logs.tables.line_rows import Line
from speedcal.logs.writing.number_words import LARGE
from speedcal.logs.writing.patterns import late_pattern

_STRUCK = late_pattern(r"~~.*?~~|(?:[^\s\u0335-\u0338][\u0335-\u0338]\s*)+")
_LETTER_FOR_DIGIT = late_pattern(r"\d[oO](?![A-Za-z])|(?<![A-Za-z])[oOlI]+[.:]?\d|\d[:.]?[oOlI]+\d|:\d?[oOlI]")
"""6O, l5 and 7:l5: an o for a nought, an l for a one. ``20l`` may be of fuel."""


_PARTS = {"½": ".5", "¼": ".25", "¾": ".75", "1/2": ".5", "1/4": ".25", "3/4": ".75", "and a half": ".5"}
_PART = late_pattern(r"(?<=\d)(?:\s?([½¼¾])|\s(1/2|1/4|3/4|and a half)(?![\w/]))")
_NUMBERED = late_pattern(r"\s*(?:[A-Za-z]{1,12}\.?\s?)?[(#\[]?(\d{1,4})[)\].:]?\s+(?=\d{1,2}[:hH.]\d{2}\D.*\d)")
_FEWEST_NUMBERED = 3
_QUOTED = late_pattern(r"\s*(?:>\s?)++(?=.*\d[:hH.]\d{2})")
_AROUND, _FEWEST_MARKED = frozenset("*`'"), 2
MARKS = _AROUND | {"~"}
"""Without any of these in a text no cell of it is marked."""
_DITTO = frozenset({'"', "''", "ditto", "do", "do.", "″", "〃", "same"})
"""What people write in a cell that repeats the one above."""


def in_decimals(text: str) -> str:
    """Return a line with halves and quarters as decimals."""
    return _PART.sub(lambda found: _PARTS[found[1] or found[2]], text)


def without_numbers_of_lines(lines: Sequence[Line]) -> Sequence[Line]:
    """Return the lines without the numbers before the times, where they are 1, 2, 3: ``Lap 1``, ``(1)``, ``No. 1:``."""
    found = [_NUMBERED.match(text) for _, text in lines]
    counted = [int(item[1]) for item in found if item]
    if (
        len(counted) < _FEWEST_NUMBERED
        or counted != list(range(counted[0], counted[0] + len(counted)))
        or counted[0] > 1
    ):
        return lines
    return [(number, text[item.end() :] if item else text) for (number, text), item in zip(lines, found, strict=True)]


def without_quoting(lines: Sequence[Line]) -> Sequence[Line]:
    """Return the lines without the marks that a mail puts before what it answers, where times stand behind them."""
    found = [_QUOTED.match(text) for _, text in lines]
    if sum(1 for item in found if item) < _FEWEST_NUMBERED:
        return lines
    return [(number, text[item.end() :] if item else text) for (number, text), item in zip(lines, found, strict=True)]


def without_struck(text: str) -> str:
    """Return a line without what was crossed out in it, between tildes or with a stroke through each letter."""
    return _STRUCK.sub(" ", text)


def misread(text: str) -> str:
    """Return the code of what is written so that its figures cannot be told, empty where nothing is."""
    if _LETTER_FOR_DIGIT.search(text):
        return "letter_for_digit"
    return "numbers_in_words" if LARGE.search(text) else ""


def is_drawn(line: str) -> bool:
    """Tell whether a line is one drawn between the rows of a table."""
    return "--" in line and not line.strip(" \t|+:=_-")


def unmarked(cell: str) -> str:
    """Return a cell without what was crossed out in it, or the marks around it that make it bold or a word."""
    if cell[:2] == '="' and cell[-1:] == '"':  # so that a spreadsheet leaves it as it is
        return cell[2:-1].strip()
    if "~~" in cell:
        return without_struck(cell).strip()
    if cell[:1] in _AROUND and cell[-1:] == cell[:1] and len(cell) > _FEWEST_MARKED:
        return cell.strip(cell[0]).strip()
    return cell


def with_dittos(cells: list[str]) -> list[str]:
    """Return the cells of a column with what stands above in place of every ditto mark."""
    if _DITTO.isdisjoint(cell.lower() for cell in set(cells)):  # as every log
        return cells
    told = list(cells)
    for i in range(1, len(told)):
        if told[i].lower() in _DITTO:
            told[i] = told[i - 1]
    return told
