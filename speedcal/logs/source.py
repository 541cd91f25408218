"""The bytes of a file, unpacked, with their name and digest, and their text."""

from __future__ import annotations

import gzip
import hashlib
import io
import re
import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NoReturn

from speedcal.errors import SpeedcalError
from speedcal.logs import limits

_BOMS = ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"))
_DECLARED = re.compile(rb"<\?xml[^>]{0,200}?encoding\s*=\s*[\"']([A-Za-z0-9._-]{1,40})[\"']")
_MEGABYTE = 1024 * 1024


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

    def fail(self, problem: str, *, line: int | None = None, remedy: str = "") -> NoReturn:
        """Raise the error of this file."""
        raise self.error(problem, source=self.name, line=line, remedy=remedy)

    def text(self) -> str:
        """Return the contents as text, without byte order mark and with plain line ends.

        UTF-8, UTF-16 with a byte order mark and the encoding that an XML declaration names are decoded strictly;
        anything else is taken as Windows-1252, the usual encoding of spreadsheet exports.
        """
        text = _decode(self)
        if "\x00" in text:
            line = text[: text.index("\x00")].count("\n") + 1
            self.fail(
                "the file holds NUL bytes and is no text",
                line=line,
                remedy="Export it again from the program that made it",
            )
        return text.replace("\r\n", "\n").replace("\r", "\n")

    def lines(self) -> list[str]:
        """Return the lines of the text, without their ends."""
        text = self.text()
        if text.count("\n") > limits.MAX_LINES:
            self.fail(f"the file has more than {limits.MAX_LINES} lines", remedy="Cut it down to the drive")
        return text.split("\n")

    @contextmanager
    def foreign(self, what: str) -> Iterator[None]:
        """Turn whatever another library raises on damaged bytes into the error of this file."""
        try:
            yield
        except (SpeedcalError, KeyboardInterrupt, MemoryError):
            raise
        except Exception as error:
            reason = " ".join(str(error).split())[:200] or type(error).__name__
            self.fail(
                f"the file cannot be read as {what}: {reason}", remedy="Export it again or repair the damaged part"
            )


def _decode(source: Source) -> str:
    data = source.data
    for mark, encoding in _BOMS:
        if data.startswith(mark):
            return _strictly(source, data[len(mark) :], encoding)
    declared = _DECLARED.match(data.lstrip()[:300])
    if declared:
        return _strictly(source, data, declared.group(1).decode("ascii").lower())
    if data.lstrip()[:1] == b"<":
        return _strictly(source, data, "utf-8")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def _strictly(source: Source, data: bytes, encoding: str) -> str:
    if encoding in {"utf-16", "utf-7", "utf-32", "idna", "punycode", "unicode_escape", "raw_unicode_escape"}:
        source.fail(f"the file says it is in {encoding} but does not look like it", remedy="Save it as UTF-8")
    try:
        return data.decode(encoding)
    except (LookupError, UnicodeError) as error:
        at = getattr(error, "start", 0)
        source.fail(
            f"the text is not valid {encoding.upper()}", line=data[:at].count(b"\n") + 1, remedy="Save it as UTF-8"
        )


def load(path: str | Path, error: type[SpeedcalError], recognise: Callable[[Source], bool]) -> Source:
    """Read a file, unpacking gzip and zip.

    Parameters
    ----------
    path
        The file.
    error
        What to raise when it cannot be read.
    recognise
        Tells whether a member of an archive is a log of a kind that its content alone makes certain; picks the
        one log out of an archive with several files.
    """
    path = Path(path)
    name = path.name
    try:
        with path.open("rb") as stream:
            data = stream.read(limits.MAX_BYTES + 1)
    except OSError as problem:
        if path.is_dir():
            raise error("this is a folder, not a file", source=str(path), remedy="Name the file in it") from None
        reason = problem.strerror or str(problem)
        raise error(f"the file cannot be opened: {reason}", source=str(path), remedy="Check the name") from None
    return unpack(Source(name, data, "", error), recognise)


def unpack(source: Source, recognise: Callable[[Source], bool]) -> Source:
    """Check the size of a file in memory, take its digest and unpack it; see :func:`load`."""
    _check_size(source, source.data, "the file")
    source = replace(source, digest=hashlib.sha256(source.data).hexdigest())
    for _ in range(2):  # an archive, or one that was compressed once more
        if source.data[:2] == b"\x1f\x8b":
            source = replace(source, data=_gunzip(source))
        elif source.data[:4] == b"PK\x03\x04" and not is_spreadsheet(source):
            source = replace(source, data=_unzip(source, recognise))
    source = replace(source, data=_mark_of_utf16(source.data[:400]) + source.data)
    if not source.data.strip():
        source.fail("the file is empty", remedy="Record or export the drive again")
    return source


def _mark_of_utf16(head: bytes) -> bytes:
    """Return the byte order mark that UTF-16 text lacks; nothing for anything else."""
    even, odd = head[::2].count(0), head[1::2].count(0)
    if len(head) < 20 or 5 * max(even, odd) < 2 * len(head) or min(even, odd):
        return b""
    return b"\xff\xfe" if odd else b"\xfe\xff"


def is_spreadsheet(source: Source) -> bool:
    """Tell whether the file is a zip that holds a spreadsheet (Office Open XML or OpenDocument)."""
    if source.data[:4] != b"PK\x03\x04":
        return False
    try:
        with zipfile.ZipFile(io.BytesIO(source.data)) as archive:
            names = set(archive.namelist())
    except (zipfile.BadZipFile, NotImplementedError, ValueError, OSError):
        return False
    return "xl/workbook.xml" in names or {"mimetype", "content.xml"} <= names


def check_archive(source: Source) -> None:
    """Refuse an archive whose members are too many or unpack to too much."""
    with source.foreign("zip archive"), zipfile.ZipFile(io.BytesIO(source.data)) as archive:
        members = archive.infolist()
        if len(members) > limits.MAX_MEMBERS:
            source.fail(f"the archive holds {len(members)} files", remedy="Take out the one log and give that")
        if sum(member.file_size for member in members) > limits.MAX_BYTES:
            source.fail(_too_large("what the archive unpacks to"), remedy="Take out the one log and give that")


def read_member(source: Source, archive: zipfile.ZipFile, name: str) -> bytes:
    """Return one member of an archive, never more bytes than the limit whatever its header says."""
    with source.foreign("zip archive"), archive.open(name) as stream:
        data = stream.read(limits.MAX_BYTES + 1)
    _check_size(source, data, f"{name!r} in the archive")
    return data


def _gunzip(source: Source) -> bytes:
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(source.data)) as stream:
            data = stream.read(limits.MAX_BYTES + 1)
    except (OSError, EOFError, zlib.error) as problem:
        source.fail(f"the compressed file is damaged: {problem}", remedy="Copy or compress it again")
    _check_size(source, data, "what the file unpacks to")
    return data


def _unzip(source: Source, recognise: Callable[[Source], bool]) -> bytes:
    check_archive(source)
    with source.foreign("zip archive"), zipfile.ZipFile(io.BytesIO(source.data)) as archive:
        names = [
            name
            for name in archive.namelist()
            if not name.endswith("/")
            and not name.startswith("__MACOSX/")
            and not name.rsplit("/", 1)[-1].startswith(".")
        ]
        if not names:
            source.fail("the archive is empty", remedy="Put the log into it or give the log itself")
        contents = {name: read_member(source, archive, name) for name in names}
    if len(names) > 1:
        names = [name for name in names if recognise(replace(source, data=contents[name]))] or names
    if len(names) > 1:
        source.fail(
            f"the archive holds several files: {', '.join(repr(name) for name in sorted(names)[:10])}",
            remedy="Take out the one log and give that",
        )
    return contents[names[0]]


def _check_size(source: Source, data: bytes, what: str) -> None:
    if len(data) > limits.MAX_BYTES:
        source.fail(_too_large(what), remedy="Cut the recording down to the drive")


def _too_large(what: str) -> str:
    return f"{what} is larger than {limits.MAX_BYTES // _MEGABYTE} MB, more than any drive needs"
