"""Readings that are typed or pasted into the form, written down as a table that the readings reader takes."""

from __future__ import annotations

import re
from collections.abc import Iterable

from speedcal.units import parse_speed_unit
from speedcal.web.answers import RefusedError
from speedcal.web.figures import number_in

_WORD = re.compile(r"[^\W\d_]+")
_CLOCK_WORDS = {"am", "pm", "a", "p", "m", "t", "z"}
_FASTEST = 500
"""Largest speed that is taken for one, in the unit of the dial."""
_NUMBER = re.compile(r"\d+(?:[.,]\d+)?")


def readings_table(
    rows: Iterable[tuple[str, str]], pasted: str, *, unit: str, most: int, are_checks: bool = False
) -> str:
    """Return typed rows and pasted lines as one table; empty when nothing was typed.

    A pasted table with a heading of its own is kept as it is, and so are checks. Everything else becomes rows of time
    and speed, divided by tabs, under the heading ``time`` and ``speed (unit)``.

    Raises
    ------
    RefusedError
        More rows than the limit, or rows typed next to a pasted table with a heading.
    """
    lines = [_one_line(f"{time}\t{speed}") for time, speed in rows if time.strip() or speed.strip()]
    pasted_lines = [line for line in pasted.replace("\r\n", "\n").replace("\r", "\n").split("\n") if line.strip()]
    if len(lines) + len(pasted_lines) > most:
        raise RefusedError(422, "too_many_typed", at="pasted", most=most)
    if pasted_lines and (are_checks or has_heading(pasted_lines[0])):
        if lines:
            raise RefusedError(422, "pasted_and_typed", at="pasted")
        return "\n".join(pasted_lines) + "\n"
    cells = [line.split("\t") for line in lines] + [split_line(line) for line in pasted_lines]
    if not cells:
        return ""
    columns = max(len(row) for row in cells)
    heading = [f"speed ({unit})"] if columns == 1 else ["time", f"speed ({unit})", *["odometer"] * (columns - 2)]
    return "\n".join("\t".join(row) for row in [heading, *cells]) + "\n"


def has_heading(line: str) -> bool:
    """Tell whether a line names columns: it has words that are not part of a time of day."""
    return any(word.lower() not in _CLOCK_WORDS for word in _WORD.findall(line))


def unit_of(table: str) -> str:
    """Return the unit of speed in the heading of a table or in a cell of its first row; empty when there is none."""
    words = [word for line in table.split("\n")[:2] for word in re.findall(r"[^\W\d_]+(?:/[^\W\d_]+)?", line)]
    return next((unit for word in words if (unit := parse_speed_unit(word))), "")


def split_line(line: str) -> list[str]:
    """Split a pasted line into cells: at tabs, else semicolons, else a comma before a blank, else at the last blank."""
    for divider in ("\t", ";"):
        if divider in line:
            return [cell.strip() for cell in line.split(divider)]
    if re.search(r",\s", line):
        return [cell.strip() for cell in re.split(r",\s+", line.strip())]
    text = line.strip()
    parts = text.rsplit(None, 1)
    if len(parts) == 2 and _NUMBER.fullmatch(parts[1]):
        return parts
    if text.count(",") == 1 and ":" in text:
        return [cell.strip() for cell in text.split(",")]
    return [text]


def rows_of(table: str) -> list[tuple[str, str]] | None:
    """Return the rows of a table made by :func:`readings_table`, or None when it was pasted with its own heading."""
    lines = table.rstrip("\n").split("\n")
    if lines[0] not in [f"time\tspeed ({unit})" for unit in ("mph", "km/h")]:
        return None
    rows = [line.split("\t") for line in lines[1:]]
    if any(len(row) != 2 for row in rows):
        return None
    return [(row[0], row[1]) for row in rows]


def first_typed_row(table: str) -> int:
    """Return the line of a table that is the first row of the form; 0 when nothing was typed, 1 when it was pasted."""
    if not table:
        return 0
    return 1 if rows_of(table) is None else 2


def listed(text: str) -> list[str]:
    """Return the numbers of a list of speeds, as they were typed: a comma before one digit is a decimal comma."""
    return [word for word in re.split(r"[\s;]+|,\s+|,(?=\d{2,3}\b)", text.strip()) if word]


def held_speeds(text: str, *, most: int) -> str:
    """Return speeds held one after the other as numbers divided by blanks; a word that is no speed is refused."""
    words = listed(text)
    if len(words) > most:
        raise RefusedError(422, "too_many_held_typed", at="held", most=most)
    return " ".join(f"{_speed(word):.12g}" for word in words)


def _speed(word: str) -> float:
    try:
        speed = number_in(word)
    except ValueError:
        speed = 0.0
    if not 0 < speed < _FASTEST:
        raise RefusedError(422, "held_not_a_speed", at="held", found=word)
    return speed


def _one_line(text: str) -> str:
    return (
        " ".join(text.replace("\t", "\x00").split())
        .replace(" \x00", "\x00")
        .replace("\x00 ", "\x00")
        .replace("\x00", "\t")
    )
