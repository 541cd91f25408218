"""Files on disk: originals kept unchanged under the digest of their content, and the results of analyses."""

from __future__ import annotations

import hashlib
import io
import os
import re
import secrets
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

_CHUNK = 1024 * 1024
_SAFE = re.compile(r"[a-z0-9][a-z0-9_.-]{0,63}")
_ARRIVING_S = 3600.0
"""Younger files are left alone: they may belong to an upload that is just arriving."""
_OF_JOBS = ("originals", "results", "films")


class NoRoomError(OSError):
    """The disk has no room for what is to be written."""


class TooLargeError(ValueError):
    """A file is larger than the limit."""


@dataclass(frozen=True, slots=True)
class Stored:
    """An original that is safely on disk."""

    digest: str
    size: int


class Originals:
    """The file side of the store: one folder a job, so that deleting a job deletes its files.

    Nothing here is named by a user: folders are named by job ids, originals by their SHA-256, results by run ids.
    """

    def __init__(self, root: Path, *, free_disk_bytes: int = 0) -> None:
        self.root = root
        self.free_disk_bytes = free_disk_bytes
        for name in (*_OF_JOBS, "scratch", "incoming"):
            (root / name).mkdir(parents=True, exist_ok=True, mode=0o700)

    def put(self, job_id: str, source: BinaryIO, *, limit: int) -> Stored:
        """Keep a file for good; once this returns it survives a crash of the program or of the machine.

        Parameters
        ----------
        source
            Open file, read from where it stands to its end.
        limit
            Largest size. [bytes]

        Raises
        ------
        TooLargeError
            The file is larger than ``limit``.
        NoRoomError
            The disk has less room than the service keeps free.
        OSError
            The disk refused (full, gone).
        """
        self.check_room()
        incoming = self.root / "incoming" / secrets.token_hex(12)
        try:
            digest, size = _copy(source, incoming, limit=limit)
            folder = self._folder("originals", job_id)
            if not folder.exists():
                folder.mkdir(mode=0o700, exist_ok=True)
                _sync_folder(folder.parent)
            os.replace(incoming, folder / digest)
            _sync_folder(folder)
        finally:
            incoming.unlink(missing_ok=True)
        return Stored(digest, size)

    def check_room(self, more: int = 0) -> None:
        """Raise :class:`NoRoomError` when ``more`` bytes would leave less room than the service keeps free."""
        if shutil.disk_usage(self.root).free < self.free_disk_bytes + more:
            raise NoRoomError("less room on the disk than the service keeps free")

    def try_writing(self) -> None:
        """Write a small file as an upload is written, and remove it; an OSError says that this does not work."""
        probe = self.root / "incoming" / secrets.token_hex(12)
        try:
            _copy(io.BytesIO(b"."), probe, limit=1)
        finally:
            probe.unlink(missing_ok=True)

    def path(self, job_id: str, digest: str) -> Path:
        """Return where an original is kept."""
        return self._folder("originals", job_id) / _safe(digest)

    def film(self, job_id: str, film_id: str) -> Path:
        """Return the folder of a film: itself, stills of it, what was read. It is in no backup and in no report."""
        return self._folder("films", job_id) / _safe(film_id)

    def keep_result(self, job_id: str, run_id: str, folder: Path) -> Path:
        """Move the files of a finished analysis to where they are served from."""
        target = self._folder("results", job_id) / _safe(run_id)
        target.parent.mkdir(mode=0o700, exist_ok=True)
        for file in folder.iterdir():
            sync_file(file)
        shutil.rmtree(target, ignore_errors=True)
        os.replace(folder, target)
        _sync_folder(target.parent)
        return target

    def result_file(self, job_id: str, run_id: str, name: str) -> Path | None:
        """Return a file of a result, or None when the analysis wrote no such file."""
        if not _SAFE.fullmatch(name):
            return None
        path = self._folder("results", job_id) / _safe(run_id) / name
        return path if path.is_file() else None

    def remove_result(self, job_id: str, run_id: str) -> None:
        """Remove the files of one analysis."""
        shutil.rmtree(self._folder("results", job_id) / _safe(run_id), ignore_errors=True)

    def remove(self, job_id: str, digest: str) -> None:
        """Remove one original."""
        self.path(job_id, digest).unlink(missing_ok=True)

    def remove_job(self, job_id: str) -> None:
        """Remove every file of a job: originals, results and films."""
        for kind in _OF_JOBS:
            folder = self._folder(kind, job_id)
            if folder.exists():
                shutil.rmtree(folder)

    def scratch(self, run_id: str) -> Path:
        """Return an empty folder for one analysis to work in."""
        folder = self._folder("scratch", run_id)
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(mode=0o700)
        return folder

    @contextmanager
    def workplace(self) -> Iterator[Path]:
        """Give an empty folder to work in, gone afterwards."""
        name = secrets.token_hex(10)
        try:
            yield self.scratch(name)
        finally:
            self.remove_scratch(name)

    def remove_scratch(self, run_id: str) -> None:
        """Remove the folder an analysis worked in."""
        shutil.rmtree(self._folder("scratch", run_id), ignore_errors=True)

    def sweep(self, *, known: dict[str, set[str]]) -> int:
        """Remove what an interrupted upload or analysis left behind: files that no job mentions.

        Parameters
        ----------
        known
            Digests of the originals of every job that exists.
        """
        before = time.time() - _ARRIVING_S
        stray = [p for name in ("incoming", "scratch") for p in (self.root / name).iterdir()]
        stray += [
            file
            for folder in (self.root / "originals").iterdir()
            for file in folder.iterdir()
            if file.name not in known.get(folder.name, set())
        ]
        removed = 0
        for path in stray:
            try:
                if path.stat().st_mtime < before:
                    shutil.rmtree(path) if path.is_dir() else path.unlink()
                    removed += 1
            except FileNotFoundError:
                continue
        return removed

    def _folder(self, kind: str, name: str) -> Path:
        return self.root / kind / _safe(name)


def _safe(name: str) -> str:
    if not _SAFE.fullmatch(name) or ".." in name:
        raise ValueError(f"not a name made by the service: {name!r}")
    return name


def private(path: str, flags: int) -> int:
    """Open a file that is readable by its owner only, as the opener of ``open``."""
    return os.open(path, flags, 0o600)


def _copy(source: BinaryIO, target: Path, *, limit: int) -> tuple[str, int]:
    digest, size = hashlib.sha256(), 0
    with open(target, "xb", opener=private) as out:
        while chunk := source.read(_CHUNK):
            size += len(chunk)
            if size > limit:
                raise TooLargeError(f"larger than {limit} bytes")
            digest.update(chunk)
            out.write(chunk)
        out.flush()
        os.fsync(out.fileno())
    return digest.hexdigest(), size


def sync_file(path: Path) -> None:
    """Have a file on the disk; it is opened to be written, since Windows refuses this for one that is only read."""
    with path.open("r+b") as written:
        os.fsync(written.fileno())


def _sync_folder(folder: Path) -> None:
    if os.name == "nt":  # folders cannot be opened there, and renaming is journalled
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
