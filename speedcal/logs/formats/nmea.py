"""NMEA 0183 logs: RMC, VTG, GGA, GNS, GLL and ZDA sentences of any talker.

Sentences that carry the same time of day form one epoch. A date comes from RMC or ZDA; before the first one, and across
midnight, it is worked out. VTG carries no time and belongs to the epoch it follows, unless the speeds of RMC
show that it belongs to the one it precedes.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from dataclasses import dataclass, field

import numpy as np

from speedcal.finding import Finding
from speedcal.logs import limits
from speedcal.logs.drive.track import BASE_S, Fixes, Track, build_track
from speedcal.logs.formats.nmea_talkers import second_talkers, time_of_day
from speedcal.logs.formats.registry import LogFormat, Request
from speedcal.logs.source import Source
from speedcal.logs.writing.written_times import days_since_1970
from speedcal.units import SPEED_UNIT_MPS

_SENTENCE = re.compile(rb"\$[A-Z]{2}(?:RMC|GGA|VTG|GNS|GLL|ZDA),")
_LONGEST = 200
"""Bytes of a sentence that are looked at; the standard allows 82."""
_DAY_S, _HALF_DAY_S = 86_400.0, 43_200.0
_NO_FIX_QUALITY = frozenset("067")
"""GGA quality: 0 no fix, 6 estimated, 7 entered by hand."""
_NO_FIX_MODE = frozenset("NEM")
"""Mode indicator: N no fix, E estimated, M entered by hand."""


@dataclass(slots=True)
class _Epoch:
    """What the sentences of one instant say."""

    time_of_day_s: float
    day: int | None = None
    """Days since 1970-01-01."""
    latitude: float = math.nan
    longitude: float = math.nan
    elevation: float = math.nan
    speed: float = math.nan
    speed_step: float = math.inf
    rmc_speed: float = math.nan
    invalid: bool = False
    positioned: bool = False


@dataclass(slots=True)
class _Log:
    """The epochs of a file and the sentences that stand between them."""

    epochs: list[_Epoch] = field(default_factory=list)
    courses: list[tuple[int, float, float]] = field(default_factory=list)
    """Of every VTG: the epoch it follows (-1 for none), its speed [m/s] and the step of the speed [m/s]."""
    refused: Counter[str] = field(default_factory=Counter)
    others: frozenset[tuple[str, str]] = frozenset()
    """Talkers and sentences that say again, at the same time, what another receiver says."""

    def at(self, time_of_day_s: float) -> _Epoch:
        """Return the epoch of a time, the current one or a new one."""
        if not self.epochs or self.epochs[-1].time_of_day_s != time_of_day_s:
            self.epochs.append(_Epoch(time_of_day_s))
        return self.epochs[-1]


def _read_track(source: Source, request: Request) -> Track:
    data = _bytes(source)
    if data.count(b"$") > limits.MAX_LINES:
        source.fail("too_many", what="sentences", most=limits.MAX_LINES)
    log = _Log(others=second_talkers(data))
    unchecked = b"*" not in data
    for piece in data.split(b"$")[1:]:  # between sentences there may be anything, binary messages included
        sentence = re.split(rb"[\r\n]", piece[:_LONGEST], maxsplit=1)[0]
        _take(log, sentence.decode("latin-1"), unchecked=unchecked)
    _add_courses(log)
    has_date = _add_days(log.epochs)
    epochs = [epoch for epoch in log.epochs if epoch.positioned]
    findings = [Finding("sentences_refused", reason=reason, count=count) for reason, count in log.refused.items()]
    if unchecked:
        findings.append(Finding("no_checksums"))
    if log.others:
        findings.append(Finding("second_talker", left_out=sorted({talker for talker, _ in log.others})))
    start = 0.0 if has_date else BASE_S
    fixes = Fixes(
        time_s=[start + (epoch.day or 0) * _DAY_S + epoch.time_of_day_s for epoch in epochs],
        latitude_deg=[epoch.latitude for epoch in epochs],
        longitude_deg=[epoch.longitude for epoch in epochs],
        elevation_m=[epoch.elevation for epoch in epochs],
        speed_mps=[epoch.speed for epoch in epochs],
        invalid=[epoch.invalid for epoch in epochs],
        has_date=has_date,
        findings=findings,
    )
    return build_track(source, "nmea", fixes)


def _take(log: _Log, sentence: str, *, unchecked: bool) -> None:
    """Add one sentence, without its dollar sign, to the log if its checksum is right."""
    body, star, checksum = sentence.partition("*")
    fields = body.split(",")
    name = fields[0][2:]
    if name not in _READERS or len(fields[0]) != 5 or (fields[0][:2], name) in log.others:
        return
    if not star and not unchecked:
        log.refused["cut_off"] += 1
        return
    if star and checksum[:2].upper() != f"{checksum_of(body):02X}":
        log.refused["wrong_checksum"] += 1
        return
    try:
        _READERS[name](log, fields)
    except (ValueError, IndexError):
        log.refused["unreadable_fields"] += 1


def checksum_of(body: str) -> int:
    """Return the exclusive or of the characters between the dollar sign and the star."""
    value = 0
    for byte in body.encode("latin-1", errors="replace"):
        value ^= byte
    return value


def _read_rmc(log: _Log, fields: list[str]) -> None:
    if not fields[1]:
        return
    epoch = log.at(time_of_day(fields[1]))
    mode = fields[12] if len(fields) > 12 else ""
    epoch.invalid |= fields[2] != "A" or mode in _NO_FIX_MODE
    _place(epoch, fields[3:7])
    if fields[7]:
        epoch.rmc_speed = float(fields[7]) * SPEED_UNIT_MPS["kn"]
        epoch.speed, epoch.speed_step = epoch.rmc_speed, _step(fields[7]) * SPEED_UNIT_MPS["kn"]
    if len(fields[9]) == 6:
        day, month, year = (int(fields[9][i : i + 2]) for i in (0, 2, 4))
        epoch.day = days_since_1970(year + (2000 if year < 80 else 1900), month, day)


def _read_gga_or_gns(log: _Log, fields: list[str]) -> None:
    if not fields[1]:
        return
    epoch = log.at(time_of_day(fields[1]))
    no_fix = _NO_FIX_QUALITY if fields[0].endswith("GGA") else _NO_FIX_MODE
    epoch.invalid |= all(sign in no_fix for sign in fields[6])  # GNS has a mode for each system
    _place(epoch, fields[2:6])
    if fields[9]:
        epoch.elevation = float(fields[9])


def _read_gll(log: _Log, fields: list[str]) -> None:
    if not fields[5]:
        return
    epoch = log.at(time_of_day(fields[5]))
    mode = fields[7] if len(fields) > 7 else ""
    epoch.invalid |= fields[6] != "A" or mode in _NO_FIX_MODE
    _place(epoch, fields[1:5])


def _read_zda(log: _Log, fields: list[str]) -> None:
    if fields[1] and all(fields[2:5]):
        epoch = log.at(time_of_day(fields[1]))
        epoch.day = days_since_1970(int(fields[4]), int(fields[3]), int(fields[2]))


def _read_vtg(log: _Log, fields: list[str]) -> None:
    """Take the finer of the speeds in knots and in km/h; they need not agree in the last digit."""
    if len(fields) > 9 and fields[9] in _NO_FIX_MODE:
        return
    choices = []
    for at, letter, factor in ((5, "N", SPEED_UNIT_MPS["kn"]), (7, "K", SPEED_UNIT_MPS["km/h"])):
        if fields[at] and fields[at + 1] == letter:
            choices.append((_step(fields[at]) * factor, float(fields[at]) * factor))
    if choices:
        step, speed = min(choices)
        log.courses.append((len(log.epochs) - 1, speed, step))


_READERS = {
    "RMC": _read_rmc,
    "GGA": _read_gga_or_gns,
    "GNS": _read_gga_or_gns,
    "GLL": _read_gll,
    "ZDA": _read_zda,
    "VTG": _read_vtg,
}


def _place(epoch: _Epoch, fields: list[str]) -> None:
    epoch.positioned = True
    latitude, north, longitude, east = fields
    if latitude and longitude and math.isnan(epoch.latitude) and north in "NS" and east in "EW":
        epoch.latitude = _degrees(latitude) * (-1 if north == "S" else 1)
        epoch.longitude = _degrees(longitude) * (-1 if east == "W" else 1)


def _degrees(text: str) -> float:
    """Return degrees from the (d)ddmm.mmmm of the standard."""
    value = float(text)
    whole = math.floor(value / 100)
    minutes = value - 100 * whole
    return whole + minutes / 60 if 0 <= minutes < 60 else math.nan


def _step(text: str) -> float:
    return 10.0 ** -len(text.partition(".")[2])


def _add_courses(log: _Log) -> None:
    """Give the speeds of VTG to their epochs where they are finer than the speeds of RMC."""
    if not log.courses:
        return
    rmc = np.array([epoch.rmc_speed for epoch in log.epochs] + [math.nan])
    place = np.array([index for index, _, _ in log.courses])
    speed = np.array([value for _, value, _ in log.courses])
    following = int(_misfit(rmc, place + 1, speed) < 0.5 * _misfit(rmc, place, speed))
    for index, value, step in log.courses:
        at = index + following
        if 0 <= at < len(log.epochs) and step < log.epochs[at].speed_step:
            log.epochs[at].speed, log.epochs[at].speed_step = value, step


def _misfit(rmc: np.ndarray, place: np.ndarray, speed: np.ndarray) -> float:
    """Return the mean difference from the speeds of RMC at these epochs; zero when there is nothing to compare."""
    inside = (place >= 0) & (place < len(rmc) - 1)
    difference = np.abs(rmc[np.where(inside, place, -1)] - speed)
    difference = difference[np.isfinite(difference)]
    return float(difference.mean()) if len(difference) >= 10 else 0.0


def _add_days(epochs: list[_Epoch]) -> bool:
    """Give every epoch its day, counting on past midnight; return whether any sentence named one."""
    known = next((i for i, epoch in enumerate(epochs) if epoch.day is not None), None)
    first = epochs[known].day if known is not None else 0
    day, last = first or 0, epochs[known].time_of_day_s if known is not None else math.inf
    for epoch in reversed(epochs[:known] if known is not None else []):
        if epoch.time_of_day_s > last + _HALF_DAY_S:
            day -= 1
        epoch.day, last = day, epoch.time_of_day_s
    day, last = first or 0, -math.inf
    for epoch in epochs[known or 0 :]:
        if epoch.day is not None:
            day = epoch.day
        elif epoch.time_of_day_s < last - _HALF_DAY_S:
            day += 1
        epoch.day, last = day, epoch.time_of_day_s
    return known is not None


def _bytes(source: Source) -> bytes:
    """Return the bytes of the sentences, also where a program redirected them into a file of UTF-16."""
    utf_16 = source.data[:2] in {b"\xff\xfe", b"\xfe\xff"}
    return source.text().encode("latin-1", errors="replace") if utf_16 else source.data


def _is_nmea(source: Source) -> bool:
    head = source.data[:65536]
    if head[:2] in {b"\xff\xfe", b"\xfe\xff"}:
        head = head.replace(b"\x00", b"")
    return _SENTENCE.search(head) is not None and not source.data.lstrip().startswith(b"<")


FORMAT = LogFormat("nmea", _is_nmea, track=_read_track)
