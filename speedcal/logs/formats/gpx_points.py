"""Track points of a GPX document that are written alike, taken out of its text by one pattern.

A logger writes its points one like the other. One of them is understood by the parser of XML and becomes a pattern:
its tags, each with what is inside it optional, around texts of plain characters. What matches is well formed because
that one is, and its numbers are read in passing; a mark stays in its place, and everything else goes to the parser.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from xml.etree import ElementTree

from speedcal.interval import FloatArray
from speedcal.logs.formats.xmltree import local, number_in

MARK = "run-of-points"
"""Name of the element that stands for the points taken out."""
_FIRST, _LAST = re.compile(rb"<trkpt[\s>]"), b"</trkpt>"
_MARK = f"<{MARK}/>".encode()
_TAG = re.compile(rb"<(/?)([A-Za-z_][\w.:-]{0,100})((?:\s+[\w.:-]{1,100}\s*=\s*(?:\"[^\"<&]*\"|'[^'<&]*'))*+)\s*(/?)>")
_ATTRIBUTE = re.compile(rb"(\s+)([\w.:-]+)(\s*=\s*)(?:\"[^\"]*\"|'[^']*')")
_PREFIX = re.compile(rb"[</\s]([\w.-]+):[\w.-]")
_TEXT = rb"[\t\n\r -%'-;=?-~]*+"
_VALUE = rb"[ !#-%(-;=?-~]*+"
_SPACE = rb"[ \t\r\n]*+"
_SAMPLES, _LONGEST = 16, 4096
"""Points looked at for the one that has most inside it, and its bytes at most."""


@dataclass(slots=True)
class Run:
    """Points that follow each other: their texts by field, None where a point or all of them lack it."""

    texts: dict[str, Sequence[bytes | None]]
    count: int


class PointPattern:
    """How the points of one document are written."""

    def __init__(self, pattern: re.Pattern[bytes], fields: list[str]) -> None:
        self._pattern, self._fields = pattern, fields

    @classmethod
    def of(cls, data: bytes, mps_in: Callable[[str], float]) -> PointPattern | None:
        """Return the pattern of the points, None where each of them has to go to the parser.

        A comment or a section of literal text may hold what looks like a point; entities and instructions have no
        place in one.
        """
        first = _FIRST.search(data)
        if first is None or MARK.encode() in data or data.find(b"<!", first.start()) >= 0:
            return None
        head = data[: first.start()]
        if head.count(b"<!--") != head.count(b"-->") or b"<![" in head or data.find(b"<?", first.start()) >= 0:
            return None
        samples = []
        for i in range(_SAMPLES):
            begin = _FIRST.search(data, first.start() + (len(data) - first.start()) * i // _SAMPLES)
            end = data.find(_LAST, begin.start(), begin.start() + _LONGEST) if begin else -1
            if begin is not None and end >= 0:
                samples.append(data[begin.start() : end + len(_LAST)])
        sample = max(samples, key=lambda text: text.count(b"<"), default=b"")
        return cls(*found) if (found := _compile(sample, head, mps_in)) else None

    def take_out(self, data: bytes) -> tuple[bytes, list[Run]]:
        """Return the text with a mark in the place of every run of points, and the runs."""
        parts = self._pattern.split(data)
        width = 1 + len(self._fields)
        between, texts = parts[::width], {name: parts[i::width] for i, name in enumerate(self._fields, 1)}
        rest, runs, start = [between[0]], [], 0
        for i in [*(i for i, text in enumerate(between) if text and i), len(between) - 1]:
            if i > start:
                rest.append(_MARK)
                runs.append(Run({name: column[start:i] for name, column in texts.items()}, i - start))
                rest.append(between[i])
                start = i
        return b"".join(rest), runs

    @staticmethod
    def end(data: bytes, start: int, stop: int) -> int:
        """Return where a piece ends that should end with a point."""
        found = data.rfind(_LAST, start, stop)
        return found + len(_LAST) if found >= 0 else stop


def _compile(sample: bytes, head: bytes, mps_in: Callable[[str], float]) -> tuple[re.Pattern[bytes], list[str]] | None:
    """Return the pattern of points like one, and the fields of its groups in their order."""
    prefixes = set(_PREFIX.findall(sample)) - {b"xmlns"}
    if any(b"xmlns:" + prefix not in head for prefix in prefixes):
        return None
    spaces = b" ".join(b'xmlns:%s="%s"' % (prefix, prefix) for prefix in prefixes)
    try:
        ElementTree.fromstring(b"<gpx %s>%s</gpx>" % (spaces, sample))  # noqa: S314 - no declaration can stand here
    except ElementTree.ParseError:
        return None
    parts: list[bytes] = []
    fields: list[str] = []
    inside: list[str] = []
    at = 0
    for tag in _TAG.finditer(sample):
        if b"<" in sample[at : tag.start()] or (not tag[1] and parts[-1:] == [b"(" + _TEXT + b")"]):
            return None  # there is more than tags, or elements inside what should be a number
        at = tag.end()
        name = local(tag[2].rpartition(b":")[2].decode("ascii", "replace"))
        if tag[1]:
            inside.pop()
            # not possessive: that loses what groups inside have held, on Python 3.11.2 and before
            parts.append(b"</" + re.escape(tag[2]) + _SPACE + b">" + (_TEXT + b")?" if inside else _SPACE))
            continue
        field = _field(name, inside, mps_in)
        if field == "speed" and len(inside) > 1 and mps_in(name) != 1:
            return None  # the parser's speeds are converted
        written = re.escape(b"<" + tag[2]) + _attributes(tag[3], fields if not inside else None)
        if tag[4]:
            parts.append(b"(?:" + written + _SPACE + b"/>" + _TEXT + b")?+")
            continue
        parts.append((b"(?:" if inside else b"") + written + _SPACE + b">")
        parts.append(b"(" + _TEXT + b")" if field else _TEXT)
        fields += [field] if field else []
        inside.append(name)
    if len(set(fields)) < len(fields) or not {"lat", "lon"} <= set(fields) or inside or at < len(sample):
        return None
    return re.compile(b"".join(parts)), fields


def _field(name: str, inside: list[str], mps_in: Callable[[str], float]) -> str:
    """Return what the text of an element is, empty when it is nothing that is read."""
    if len(inside) == 1:
        return name if name in {"time", "ele", "speed"} else ""
    return "speed" if "extensions" in inside[1:2] and mps_in(name) else ""


def _attributes(text: bytes, fields: list[str] | None) -> bytes:
    """Return the pattern of the attributes of a tag; those of the point itself hold the position."""
    parts = []
    for found in _ATTRIBUTE.finditer(text):
        name, value = found[2], _VALUE
        if fields is not None and name in {b"lat", b"lon"}:
            fields.append(name.decode())
            value = b"(" + value + b")"
        parts.append(re.escape(found[1] + name + found[3]) + b"[\"']" + value + b"[\"']")
    return b"".join(parts)


def numbers(texts: Sequence[bytes | None], count: int) -> FloatArray:
    """Return the numbers of a field; NaN where there is none or what is written is none."""
    import numpy as np

    if not texts:
        return np.full(count, np.nan)
    try:
        return np.array([float(text) for text in texts])  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return np.array([number_in(text) for text in texts])
