"""The encoding of a text, and the text."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import NoReturn

from speedcal.logs.writing.headers import accented_words

_BOMS = ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"))
_DECLARED = re.compile(rb"<\?xml[^>]{0,200}?encoding\s*=\s*[\"']([A-Za-z0-9._-]{1,40})[\"']")
_PAGE_DECLARED = re.compile(rb"<meta[^<>]{0,200}charset\s*=\s*[\"']?([A-Za-z0-9._-]{1,40})", re.IGNORECASE)
_CYRILLIC = re.compile(rb"[\xC0-\xFF]{4}")
"""Four letters in a row that Western words write with an accent, if at all."""
_HEAD, _HEADINGS = 65_536, 2_000
_BETWEEN_LETTERS = re.compile(r"[a-z][^\x00-\x7f][a-z]")
_SPREADSHEETS = ("cp1252", "cp1250", "cp1253", "cp1254")
"""What spreadsheets write in Western and Central Europe, Greece and Turkey."""
Refuse = Callable[..., NoReturn]


def decoded(data: bytes, refuse: Refuse) -> str:
    """Return bytes as text; ``refuse`` raises the error of their file, by its code."""
    for mark, encoding in _BOMS:
        if data.startswith(mark):
            return _strictly(refuse, data[len(mark) :], encoding)
    declared = _DECLARED.match(data.lstrip()[:300]) or (
        _PAGE_DECLARED.search(data[:_HEAD]) if data.lstrip()[:1] == b"<" else None
    )
    encoding = declared.group(1).decode("ascii").lower() if declared else "utf-8"
    if encoding not in {"utf-8", "utf-16"}:  # which without a mark it is not, with its declaration in single bytes
        return _strictly(refuse, data, encoding)
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return _japanese(data) or _european(data)


def _european(data: bytes) -> str:
    """Return text in the encoding in which most of the words above its columns are known, the Western one of equals."""
    if _CYRILLIC.search(data) and not accented_words(data[:_HEADINGS].decode("cp1253", errors="replace")):
        return data.decode("cp1251", errors="replace")
    known = {name: accented_words(data[:_HEADINGS].decode(name, errors="replace")) for name in _SPREADSHEETS}
    return data.decode(max(known, key=known.__getitem__), errors="replace")


def _japanese(data: bytes) -> str:
    """Return text in the Japanese encoding of older systems, empty for any other.

    Its characters begin with bytes that Western text hardly uses, 0x81 to 0x9F, and none stands alone in a word.
    """
    try:
        text = data.decode("cp932")
    except UnicodeDecodeError:
        return ""
    beyond = sum(1 for byte in data if byte > 0x7F)
    begun = sum(1 for byte in data if 0x81 <= byte <= 0x9F)
    return text if 3 * begun > beyond and not _BETWEEN_LETTERS.search(text) else ""


def _strictly(refuse: Refuse, data: bytes, encoding: str) -> str:
    if encoding in {"utf-7", "utf-32", "idna", "punycode", "unicode_escape", "raw_unicode_escape"}:
        refuse("false_encoding", encoding=encoding)
    try:
        return data.decode(encoding)
    except (LookupError, UnicodeError) as error:
        at = getattr(error, "start", 0)
        refuse("invalid_encoding", line=data[:at].count(b"\n") + 1, encoding=encoding.upper())
