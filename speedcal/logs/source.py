"""The bytes of a file, unpacked, with their name and digest, and their text."""

from __future__ import annotations

import gzip
import hashlib
import io
import os
import re
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal, NoReturn

from speedcal.errors import ReadingsFormatError, SpeedcalError
from speedcal.logs import limits
from speedcal.logs.writing.characters import plain_characters
from speedcal.logs.writing.encodings import decoded

_MEGABYTE = 1024 * 1024
_HEAD = 65_536
_FIGURE, _FEWEST_WITH_FIGURES, _MOSTLY = re.compile(rb"\d"), 3, 0.7
_SAYING = re.compile(
    rb"^[ \t#;,]{0,20}(read[_ ]from|rounding|terrain|dial[_ ]unit)\s*[:=,;]?\s*([A-Za-z/]+)[ \t\r,;]{0,20}$",
    re.IGNORECASE | re.MULTILINE,
)
SAYINGS = {
    "read_from": ("square", "side", "film", "logged"),
    "rounding": ("nearest", "down", "exact"),
    "terrain": ("level", "rolling", "mountainous"),
    "dial_unit": ("mph", "km/h"),
}
"""What the head of a readings file may say, and the words for it."""
OFFICE_TEXT = "word/document.xml"
_ZIP = frozenset({b"PK\x03\x04", b"PK\x05\x06"})
"""How an archive begins, and one without files."""
_ENCRYPTED = 1
"""Bit of the flags of a member (ISO/IEC 21320-1)."""
_CONTENT_TYPES = "[Content_Types].xml"
"""Stands in every document of Office Open XML."""
FileKind = Literal["zip", "gzip", "spreadsheet", "document", "gpx", "fit", "json"]
"""What another library is asked to read."""
CertainKind = Literal["track", "readings", ""]
"""What a file holds by its content alone; nothing of tables and notes, which any text may be."""


@dataclass(frozen=True, slots=True)
class Source:
    """A file in memory."""

    name: str
    """Name of the file as the user knows it, without folders."""
    data: bytes
    """Contents, unpacked if the file was compressed."""
    digest: str
    """SHA-256 of the file as it lies on the disk, hexadecimal."""
    error: type[SpeedcalError]
    """Which error to raise: depends on whether the file was given as track or as readings."""

    def fail(self, code: str, /, *, line: int | None = None, **values: Any) -> NoReturn:
        """Raise the error of this file; a header without a line, as of JSON, stands in line 0."""
        raise self.error(code, source=self.name, line=line or None, **values)

    def text(self) -> str:
        """Return the contents as text, without byte order mark and with plain line ends.

        UTF-8, UTF-16 with a byte order mark and the encoding that an XML declaration names are decoded strictly;
        anything else is taken as Windows-1252, the usual encoding of spreadsheet exports.
        """
        text = decoded(self.data, self.fail)
        if "\x00" in text:
            line = text[: text.index("\x00")].count("\n") + 1
            self.fail("nul_bytes", line=line)
        return plain_characters(text.replace("\r\n", "\n").replace("\r", "\n"))

    def lines(self) -> list[str]:
        """Return the lines of the text, without their ends."""
        text = self.text()
        if text.count("\n") > limits.MAX_LINES:
            self.fail("too_many", what="lines", most=limits.MAX_LINES)
        return text.split("\n")

    def said(self, key: Literal["read_from", "rounding", "terrain", "dial_unit"]) -> str | None:
        """Return what a text file says of its drive: ``read_from: side``, ``terrain: rolling`` and such."""
        if self.data[:2] in {b"PK", b"\xff\xfe", b"\xfe\xff"} or self.data[:1] == b"<":
            return None
        for found in _SAYING.finditer(self.data[:_HEAD]):
            if found.group(1).lower().replace(b" ", b"_") == key.encode():
                word = found.group(2).decode("ascii").lower()
                if word not in SAYINGS[key]:
                    self.fail("unknown_saying", key=key, found=word, known=SAYINGS[key])
                return word
        return None

    @staticmethod
    def is_saying(line: str) -> bool:
        """Tell whether a line says such a thing."""
        return len(line) < 100 and _SAYING.fullmatch(line.encode("utf-8", "replace")) is not None

    @contextmanager
    def foreign(self, what: FileKind) -> Iterator[None]:
        """Turn whatever another library raises on damaged bytes into the error of this file."""
        try:
            yield
        except (SpeedcalError, KeyboardInterrupt, MemoryError):
            raise
        except Exception as error:
            reason = " ".join(str(error).split())[:200] or type(error).__name__
            self.fail("file_damaged", what=what, reason=reason)


def load(path: str | Path, error: type[SpeedcalError], recognise: Callable[[Source], CertainKind]) -> Source:
    """Read a file, unpacking gzip and zip.

    Parameters
    ----------
    error
        What to raise when it cannot be read: that of a track or of readings, which says what is looked for.
    recognise
        Tells what a member of an archive is where its content alone makes that certain; picks the one log out of an
        archive with several files.
    """
    path = Path(path)
    name = path.name
    try:
        with path.open("rb") as stream:
            # a file that is too large need not be read to be refused; a pipe has no size
            size = os.fstat(stream.fileno()).st_size
            data = stream.read(limits.MAX_BYTES + 1) if size <= limits.MAX_BYTES else None
    except (OSError, ValueError) as problem:  # a name with a NUL in it is a ValueError
        if isinstance(problem, IsADirectoryError | PermissionError) and path.is_dir():  # the latter on Windows
            raise error("is_a_folder", source=str(path)) from None
        reason = getattr(problem, "strerror", None) or str(problem)
        raise error("file_not_opened", source=str(path), reason=reason) from None
    if data is None:
        _refuse_size(Source(name, b"", "", error), "file")
    return unpack(Source(name, data, "", error), recognise)


def unpack(source: Source, recognise: Callable[[Source], CertainKind]) -> Source:
    """Check the size of a file in memory, take its digest and unpack it; see :func:`load`."""
    _check_size(source, source.data, "file")
    source = replace(source, digest=hashlib.sha256(source.data).hexdigest())
    for _ in range(2):  # an archive, or one that was compressed once more
        if source.data[:2] == b"\x1f\x8b":
            source = replace(source, data=_gunzip(source))
        elif source.data[:4] in _ZIP and not is_spreadsheet(source) and not holds_office_text(source):
            source = replace(source, data=_unzip(source, recognise))
    source = replace(source, data=_mark_of_utf16(source.data[:400]) + _without_padding(source.data))
    if not source.data or source.data.isspace():
        source.fail("empty_file")
    return source


def _without_padding(data: bytes) -> bytes:
    """Return text without the NUL bytes that a logger leaves at its end when its power goes; anything else as it is."""
    whole = data.rstrip(b"\x00")
    return whole if whole and b"\x00" not in whole[:400] else data


def _mark_of_utf16(head: bytes) -> bytes:
    """Return the byte order mark that UTF-16 text lacks; nothing for anything else."""
    if head[:2] in {b"\xff\xfe", b"\xfe\xff"}:
        return b""
    even, odd = head[::2].count(0), head[1::2].count(0)
    if len(head) < 20 or 5 * max(even, odd) < 2 * len(head) or min(even, odd):
        return b""
    return b"\xff\xfe" if odd else b"\xfe\xff"


def is_spreadsheet(source: Source) -> bool:
    """Tell whether the file is a zip that holds a spreadsheet (Office Open XML or OpenDocument)."""
    names = _members(source)
    return "xl/workbook.xml" in names or {"mimetype", "content.xml"} <= names


def holds_office_text(source: Source) -> bool:
    """Tell whether the file is a zip that holds a text document of Office Open XML."""
    return OFFICE_TEXT in _members(source)


def _members(source: Source) -> set[str]:
    if source.data[:4] != b"PK\x03\x04":
        return set()
    try:
        with zipfile.ZipFile(io.BytesIO(source.data)) as archive:
            return set(archive.namelist())
    except (zipfile.BadZipFile, NotImplementedError, ValueError, OSError):
        return set()


def check_archive(source: Source) -> None:
    """Refuse an archive whose members are too many or unpack to too much."""
    with source.foreign("zip"), zipfile.ZipFile(io.BytesIO(source.data)) as archive:
        members = archive.infolist()
        if len(members) > limits.MAX_MEMBERS:
            source.fail("archive_too_full", count=len(members))
        if any(member.flag_bits & _ENCRYPTED for member in members):
            source.fail("archive_locked")
        if sum(member.file_size for member in members) > limits.MAX_BYTES:
            _refuse_size(source, "unpacked")


def read_member(source: Source, archive: zipfile.ZipFile, name: str) -> bytes:
    """Return one member of an archive, never more bytes than the limit whatever its header says."""
    with source.foreign("zip"), archive.open(name) as stream:
        data = stream.read(limits.MAX_BYTES + 1)
    _check_size(source, data, "member")
    return data


def _gunzip(source: Source) -> bytes:
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(source.data)) as stream:
            data = stream.read(limits.MAX_BYTES + 1)
    except (OSError, EOFError, zlib.error) as problem:
        source.fail("file_damaged", what="gzip", reason=str(problem))
    _check_size(source, data, "unpacked")
    return data


def _unzip(source: Source, recognise: Callable[[Source], CertainKind]) -> bytes:
    check_archive(source)
    with source.foreign("zip"), zipfile.ZipFile(io.BytesIO(source.data)) as archive:
        names = [
            name
            for name in archive.namelist()
            if not name.endswith("/")
            and not name.startswith("__MACOSX/")
            and not name.rsplit("/", 1)[-1].startswith(".")
        ]
        if not names:
            source.fail("empty_archive")
        if _CONTENT_TYPES in names:
            source.fail("not_a_log", found="document")
        contents = {name: read_member(source, archive, name) for name in names}
    if len(names) > 1:
        names = _chosen(source, {contents[name]: name for name in reversed(names)}, recognise)
    if len(names) > 1:
        source.fail("several_files_in_archive", names=sorted(names)[:10])
    return contents[names[0]]


def _chosen(source: Source, names: Mapping[bytes, str], recognise: Callable[[Source], CertainKind]) -> list[str]:
    """Return the names of the files, of different contents, that may be what is looked for.

    Where a track lies beside notes each is found by who asks.
    """
    told: dict[str, list[str]] = {"track": [], "readings": [], "": []}
    for data, name in names.items():
        kind = recognise(replace(source, data=data))
        if kind or _holds_figures(data):
            told[kind].append(name)
    wanted = ("readings", "", "track") if issubclass(source.error, ReadingsFormatError) else ("track", "readings", "")
    return next((told[kind] for kind in wanted if told[kind]), list(names.values()))


def _holds_figures(data: bytes) -> bool:
    """Tell whether most of several lines hold figures, as those of a log do, and not what came with it."""
    lines = [line for line in data[:_HEAD].splitlines() if line.strip()]
    return sum(1 for line in lines if _FIGURE.search(line)) > max(_FEWEST_WITH_FIGURES, _MOSTLY * len(lines))


def _check_size(source: Source, data: bytes, part: Literal["file", "unpacked", "member"]) -> None:
    if len(data) > limits.MAX_BYTES:
        _refuse_size(source, part)


def _refuse_size(source: Source, part: Literal["file", "unpacked", "member"]) -> NoReturn:
    source.fail("too_large", part=part, most_mb=limits.MAX_BYTES // _MEGABYTE)
