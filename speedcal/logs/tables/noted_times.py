"""The time in a line of notes, and in the line above it."""

from __future__ import annotations

import re
from collections.abc import Sequence

from speedcal.logs.tables.line_rows import Line
from speedcal.logs.tables.note_numbers import speeds_in
from speedcal.logs.writing.local_times import with_colons
from speedcal.logs.writing.spoken_times import spoken_time

_TIME = re.compile(
    r"(?:(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4})(?:\s*[T,]\s*|\s+))?"
    r"(?<![\d:.,])\d{1,3}[:hH]\d{2}(?::\d{2})?(?:\.\d{1,6}(?![\d,.]))?"
    r"(?:\s?[AaPp]\.?\s?[Mm]\b\.?)?(?:\s?(?:Z|UTC|GMT|[+-]\d{2}:\d{2})(?![\w:]))?"
)
_DOTTED = re.compile(r"(?<![\d.,:])([01]?\d|2[0-3])\.([0-5]\d)\.([0-5]\d)(?![\d.,]|:\d)")
"""10.03.17: three parts are a time of day; a date would have to come before a time."""
_DOTTED_PM = re.compile(r"(?<![\d.,:])(1[0-2]|0?[1-9])\.([0-5]\d)\s?([AaPp])\.?[Mm]\b\.?")
_SINCE_1970 = re.compile(r"(?<![\d.,:])(1\d{9}(?:\.\d{1,6}|\d{3})?)(?![\d:])")
_COMMA_BEFORE_TIME = re.compile(r",(?=\d{1,2}:\d{2}(?!\d))")
_GLUED = re.compile(r"[A-Za-z]{1,8}\d")
_LONGEST = 500
_FEWEST_PAIRS = 3


def with_times_above(lines: Sequence[Line]) -> Sequence[Line]:
    """Return the lines with each time that stands in a line above its reading.

    So it is where most readings have it there, or all that have none in their own line.
    """
    made: list[Line] = []
    alone = joined = bare = 0
    before = (False, False)
    for number, text in lines:
        parts = time_in(" ".join(text.split())) if len(text) <= _LONGEST and any(map(str.isdigit, text)) else ("", "")
        has = (bool(parts[0]), bool(speeds_in(parts[1])[0]))  # a time, a number
        if before == (True, False) and has == (False, True):
            made[-1] = (number, f"{made[-1][1]} {text}")
            joined += 1
        else:
            made.append((number, text))
            alone += has == (True, True)
            bare += has == (False, True)
        before = has
    return made if joined >= _FEWEST_PAIRS and (joined > alone or not bare) else lines


def time_in(text: str) -> tuple[str, str]:
    """Return the time in a line, with colons, and the rest of the line."""
    text = with_colons(_COMMA_BEFORE_TIME.sub(", ", text))
    found, spoken = _TIME.search(text), spoken_time(text)
    if spoken is not None and (found is None or spoken[0] <= found.start()):
        return spoken[1:]
    if found is not None:
        return found.group().strip(), f"{text[: found.start()]} {text[found.end() :]}"
    for form, written in ((_DOTTED, r"\1:\2:\3"), (_DOTTED_PM, r"\1:\2 \3m"), (_SINCE_1970, r"\1")):
        dotted = form.search(text)
        if dotted is not None:
            return dotted.expand(written), f"{text[: dotted.start()]} {text[dotted.end() :]}"
    return "", text


def goes_on(text: str) -> bool:
    """Tell whether letters and figures hang on to a time, which is then not the whole of it."""
    found = _TIME.search(text)
    return found is not None and spoken_time(text) is None and _GLUED.match(text, found.end()) is not None
