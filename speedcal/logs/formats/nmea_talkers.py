"""Which of the talkers of an NMEA 0183 log are of one receiver, told by the times of day that they say."""

from __future__ import annotations

import math
import re
from collections import Counter

import numpy as np

_TALKER = re.compile(
    rb"\$([A-Z]{2})(RMC|GGA|VTG|GNS|GLL),(?:(?:(?<=GLL,)(?:[^,\r\n]{0,20},){4})?((?:[01]\d|2[0-3])[0-5]\d[0-6]\d(?:\.\d{0,9})?),)?"
)
_FEWEST_BETWEEN, _USUAL, _PAUSE = 5, 0.1, 1.5
"""Sentences of another receiver at least; the soonest tenth of the next sentences, which come at their usual distance;
and the multiple of it from which on a talker pauses."""
_DAY_S = 86_400.0


def second_talkers(data: bytes) -> frozenset[tuple[str, str]]:
    """Return which sentences of which talkers to leave out: those between which another talker does not pause.

    Kept is the talker that combines systems (GN), else the one with most sentences. A receiver that uses now one system
    and now several has one name at a time, and its sentences of different names are of one log.
    """
    count = Counter((found[2], found[1]) for found in _TALKER.finditer(data))
    several = {name for name, talkers in Counter(name for name, _ in count).items() if talkers > 1}
    told: dict[bytes, dict[bytes, list[tuple[int, bytes]]]] = {name: {} for name in several}
    clock = b""  # a VTG has that of the sentence before it
    for found in _TALKER.finditer(data) if several else ():
        clock = found[3] or clock
        if found[2] in several:
            told[found[2]].setdefault(found[1], []).append((found.start(), clock))
    others: set[tuple[str, str]] = set()
    for name, talkers in told.items():
        kept = max(talkers, key=lambda talker: (talker == b"GN", len(talkers[talker])))
        place, clocks = zip(*talkers[kept], strict=True)
        own_s = [time_of_day(clock.decode()) if clock else math.nan for clock in clocks]
        pause_s = np.diff(own_s, prepend=math.nan, append=math.nan) % _DAY_S
        usual_s = np.quantile(pause_s[pause_s > 0], _USUAL) if (pause_s > 0).any() else 0
        for talker in talkers.keys() - {kept}:
            around_s = pause_s[np.searchsorted(place, [at for at, _ in talkers[talker]])]
            around_s = around_s[np.isfinite(around_s)]
            if len(around_s) >= _FEWEST_BETWEEN and np.median(around_s) <= _PAUSE * usual_s:
                others.add((talker.decode(), name.decode()))
    return frozenset(others)


def time_of_day(text: str) -> float:
    """Return the seconds of ``hhmmss.ss`` since midnight."""
    if not re.fullmatch(r"[0-2]\d[0-5]\d[0-6]\d(?:\.\d{0,9})?", text) or text[:2] > "23":
        raise ValueError(text)
    return int(text[:2]) * 3600.0 + int(text[2:4]) * 60.0 + float(text[4:])
