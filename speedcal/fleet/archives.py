"""Archives of drives or of tables, unpacked for as long as it takes to measure them."""

from __future__ import annotations

import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path, PurePath, PurePosixPath

from speedcal.errors import FleetError


def unpacked(path: str, into: Path) -> Path | None:
    """Return the folder with what a zip holds; None where the source is none.

    Parameters
    ----------
    into
        A folder that is not there yet.

    Raises
    ------
    FleetError
        It is damaged or locked, or there is no room for what is in it.
    """
    if Path(path).suffix.lower() != ".zip" or not Path(path).is_file():
        return None
    try:
        into.mkdir(parents=True)
        with zipfile.ZipFile(path) as archive:
            needed, free = sum(member.file_size for member in archive.infolist()), shutil.disk_usage(into).free
            if needed > free:
                raise OSError(f"{needed} bytes unpacked, {free} free")
            archive.extractall(into)  # which keeps every name inside the folder
    except (OSError, RuntimeError, NotImplementedError, ValueError, zipfile.BadZipFile) as problem:
        raise FleetError("archive_not_read", source=path, reason=str(problem)) from None
    return _innermost(into)


class Inside:
    """What lies packed in the folders of a fleet: a zip of several logs is a folder of its name.

    Parameters
    ----------
    into
        Folder in which they are unpacked, made when it is needed; None leaves them as they are.
    counts
        Tells by its name whether a file is one of those for which a zip is unpacked where it holds two.
    """

    def __init__(self, into: Path | None, counts: Callable[[PurePath], bool]) -> None:
        self._into, self._counts, self._unpacked = into, counts, 0

    def folder(self, path: Path) -> Path | None:
        """Return the folder with what a zip holds; None where it is read as a file: one log, or damaged."""
        if self._into is None or path.suffix.lower() != ".zip" or not self._holds_several(path):
            return None
        self._unpacked += 1
        try:
            return unpacked(str(path), self._into / str(self._unpacked) / path.stem)
        except FleetError:
            return None

    def _holds_several(self, path: Path) -> bool:
        try:
            with zipfile.ZipFile(path) as archive:
                return sum(self._counts(PurePosixPath(name)) for name in archive.namelist()) > 1
        except (OSError, ValueError, zipfile.BadZipFile):
            return False

    def has_unpacked(self, path: str) -> bool:
        """Tell whether a file lies here for a moment only."""
        return self._into is not None and Path(path).is_relative_to(self._into)


def _innermost(folder: Path) -> Path:
    """Return the folder of the vehicles: one that lies in it alone, with folders in it, is what was packed."""
    inside = [path for path in folder.iterdir() if not path.name.startswith((".", "__"))]
    if len(inside) == 1 and inside[0].is_dir() and any(path.is_dir() for path in inside[0].iterdir()):
        return _innermost(inside[0])
    return folder
