"""Times as people say and dictate them: ``14 minutes 20``, ``14'20"``, and those that head each line of subtitles."""

from __future__ import annotations

import re
from collections.abc import Sequence

from speedcal.logs.writing.patterns import late_pattern

_SECONDS = r"\d{1,2}(?:[.,]\d{1,3})?"
_SPOKEN = late_pattern(
    r"(?<![\w.,:'])(?:(?P<h>\d{1,2})\s?(?:hours?|hrs?|h)\s?(?:and\s)?)?(?P<m>\d{1,3})\s?(?:minutes?|mins?|m(?=\s?\d)|')"
    rf"(?:,?\s?(?:and\s)?(?P<s>{_SECONDS})(?:\s?(?:seconds?|secs?|s|\"|'')(?![a-z])|(?![\w.,/])(?!\s?(?:mph|k|m/|mi))))?",
    re.IGNORECASE,
)
_SECONDS_ALONE = late_pattern(
    r"^\s*(?:(?:at|after)\s)?(?:t\s?)?\+?(?P<n>\d{1,5})(?:[.,](?P<f>\d{1,3}))?\s?(?:s|secs?|seconds?)(?![\w/])(?=.*\d)",
    re.IGNORECASE,
)
"""139 s: 58, after 139 seconds 58."""
_LASTING = late_pattern(
    r"\b(?:for|during|over|within|took|lasted|every)(?:\s(?:about|another|the))*\s?$", re.IGNORECASE
)
_SAYS_WHEN = late_pattern(r"(?:^|\b(?:at|after)\s?|@\s?)$", re.IGNORECASE)
CUE = late_pattern(r"((?:\d{1,3}:)?\d{1,2}:\d{2})[.,](\d{3})\s*-->\s*[\d:.,]+.*")
"""The line of a subtitle that says when it is shown."""


def spoken_time(text: str) -> tuple[int, str, str] | None:
    """Return where a time in words for its units begins, the time with colons, and the rest of the line.

    How long something was held is no time; minutes without seconds are one at the begin of a line and after "at".
    """
    alone = _SECONDS_ALONE.match(text)
    if alone is not None:
        seconds, rest = int(alone["n"]), f".{alone['f']}" if alone["f"] else ""
        clock = f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}{rest}"
        return 0, clock, text[alone.end() :]
    found = _SPOKEN.search(text)
    if found is None or _LASTING.search(text[: found.start()]):
        return None
    if found["s"] is None and not _SAYS_WHEN.search(text[: found.start()]):
        return None
    whole, _, rest = (found["s"] or "0").replace(",", ".").partition(".")
    written = f"{int(found['h'] or 0)}:{int(found['m']):02d}:{int(whole):02d}" + (f".{rest}" if rest else "")
    if int(found["m"]) > 59:
        minutes = int(found["m"]) + 60 * int(found["h"] or 0)
        written = f"{minutes // 60}:{minutes % 60:02d}" + written[written.rindex(":") :]
    return found.start(), written, f"{text[: found.start()]} {text[found.end() :]}"


def cue_lines(lines: Sequence[tuple[int, str]]) -> list[tuple[int, str]]:
    """Return the lines of subtitles, each with the time its cue begins before its words; none of another text.

    The words of a cue stay in the line they stand in.
    """
    if not any("-->" in text and CUE.fullmatch(text.strip()) for _, text in lines):
        return []
    made: list[tuple[int, str]] = []
    time = ""
    for i, (number, text) in enumerate(lines):
        cue = CUE.fullmatch(text.strip())
        following = lines[i + 1][1].strip() if i + 1 < len(lines) else ""
        if cue:
            clock = cue[1] if cue[1].count(":") > 1 else f"0:{cue[1]}"
            time = f"{clock}.{cue[2]}"
        elif not (CUE.fullmatch(following) and text.strip().isdigit()):
            made.append((number, f"{time} {text.strip()}".strip()))
            time = ""
    return made
