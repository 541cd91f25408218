"""Lines as they are typed on a phone: who sent each, several readings in one, times without a mark between figures."""

from __future__ import annotations

import itertools
import re
from collections import Counter
from collections.abc import Sequence

from speedcal.logs.tables.line_rows import Line
from speedcal.logs.writing.headers import read_heading, speed_unit_in
from speedcal.logs.writing.patterns import late_pattern

_SENT = late_pattern(
    r"(?P<when>[\[(<]?\d[\d/.,:\- ]{0,30}\d(?:\s?[AaPp]\.?[Mm]\.?)?[\])>]?\s*(?:[-–]\s+)?)"
    r"(?:<(?P<nick>[^<>]{1,40})>|(?!\s*[AaPp]\.?[Mm]\b)(?P<name>[^:<>\d]*[A-Za-z+][^:<>]{0,40}):)\s"
)
_TIME = late_pattern(r"(?<![\d:.])\d{1,2}:\d{2}(?::\d{2})?(?![\d:])")
_CLOCK = r"\d{1,2}:\d{2}(?::\d{2})?"
_BETWEEN = tuple(
    map(
        late_pattern,
        (
            r";",
            r"[,|]\s{1,3}(?=\d{1,2}:\d{2})",
            r"(?<=:\d\d),\s{1,3}(?=\d{1,3}(?![\d:]))",
            r"(?:\.|,?\s(?:and\s)?then)\s{1,3}",
        ),
    )
)
_SPEED_AND_TIMES = late_pattern(
    r"\s*(?P<speed>\d{1,3}(?:[.,]\d)?(?![\d:]*:\d)\s?(?:[A-Za-z/]{2,5})?)\s?(?:(?:at|@|[:=–-])\s?)?"
    rf"(?P<times>{_CLOCK}(?:(?:\s?[,;&+]\s?|\sand\s|,\sand\s|\s){_CLOCK})*)[.\s]*"
)
_BEFORE_SPEED = r"(?=[\s,;:-]+\D*\d{1,3}(?:[.,]\d{1,2})?(?!\d))"
_FIGURES = (
    late_pattern(rf"\s*([01]\d|2[0-3])[ -]?([0-5]\d)[ -]?([0-5]\d){_BEFORE_SPEED}"),
    late_pattern(rf"\s*([01]\d|2[0-3])([0-5]\d)(){_BEFORE_SPEED}"),
)
"""Hour, minute and second; hour and minute."""
_SPOKE = late_pattern(
    r"\s*(?P<name>[A-Za-z][A-Za-z ]{0,30}\d{0,3})[\s,(\[]+(?P<when>\d{1,2}:\d{2}(?::\d{2})?)[)\]]?\s*:?\s*"
)
_SECONDS = late_pattern(r"(?:(?:and|und|et|y|e|en)\s)?\d{1,2}\s?s(?:e[ckg][a-z]*)?\.?", re.IGNORECASE)
_FEWEST_SENT, _FEWEST_LISTED, _FEWEST_FIGURES = 3, 2, 8
_LEAST_SPAN = 200
"""Seconds written as figures of a clock at least; an odometer that went as far would not end below 60 each time."""


def without_senders(lines: Sequence[Line]) -> Sequence[Line]:
    """Return the lines of a chat, or of what was said, without the names, which may hold figures."""
    lines = _without_speakers(lines)
    found = [_SENT.match(text) for _, text in lines]
    names = Counter(_sender(item) for item in found if item)
    senders = {name for name, count in names.items() if count >= _FEWEST_SENT and not _says_what(name)}
    return [
        (number, item["when"].strip("<> ") + " " + text[item.end() :] if item and _sender(item) in senders else text)
        for (number, text), item in zip(lines, found, strict=True)
    ]


def _without_speakers(lines: Sequence[Line]) -> Sequence[Line]:
    """Return the lines with times alone that say who spoke then; what was said stands below."""
    found = [_SPOKE.fullmatch(text) for _, text in lines]
    voices = Counter(item["name"].strip() for item in found if item)
    heard = {name for name, count in voices.items() if count >= _FEWEST_SENT and not _says_what(name)}
    return [
        (number, item["when"] if item and item["name"].strip() in heard else text)
        for (number, text), item in zip(lines, found, strict=True)
    ]


def _sender(found: re.Match[str]) -> str:
    return (found["nick"] or found["name"]).strip()


def _says_what(name: str) -> bool:
    """Tell whether what stands before a colon says what the number behind it is, or is a word or a time of the note."""
    if _SECONDS.fullmatch(name):
        return True
    of_speed = read_heading(f"{name} speed").origin in {"satellite", "instrument"}
    return of_speed or bool(read_heading(name).role) or speed_unit_in(name.lower()) is not None


def one_below_another(lines: Sequence[Line]) -> Sequence[Line]:
    """Return each reading of a line that holds several, with a time each, as a line of its own."""
    made: list[Line] = []
    for number, text in lines:
        made += [(number, part) for part in _listed(text)]
    return made


def _listed(text: str) -> list[str]:
    held = _SPEED_AND_TIMES.fullmatch(text)
    if held:
        return [f"{time} {held['speed']}" for time in _TIME.findall(held["times"])]
    if text.count(":") >= _FEWEST_LISTED and len(_TIME.findall(text)) >= _FEWEST_LISTED:
        for mark in _BETWEEN:
            parts = [part for part in mark.split(text) if part.strip()]
            if all(len(_TIME.findall(part)) == any(map(str.isdigit, part)) for part in parts):
                return parts
    return [text]


def with_clock_figures(lines: Sequence[Line]) -> Sequence[Line]:
    """Return lines that all begin with times such as ``100423`` or ``1004`` with colons in them."""
    numbered = [text for _, text in lines if any(map(str.isdigit, text))]
    for form in _FIGURES:
        found = [item for text in numbered if (item := form.match(text))]
        if len(found) < max(_FEWEST_FIGURES, len(numbered)):
            continue
        times = [3600 * int(item[1]) + 60 * int(item[2]) + int(item[3] or 0) for item in found]
        steps = [later - earlier for earlier, later in itertools.pairwise(times)]
        if min(steps) >= (1 if found[0][3] else 0) and times[-1] - times[0] >= _LEAST_SPAN:
            return [(number, form.sub(_in_colons, text, count=1)) for number, text in lines]
    return lines


def _in_colons(found: re.Match[str]) -> str:
    return ":".join(filter(None, found.groups()))
