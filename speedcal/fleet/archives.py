"""An archive of drives or of tables, unpacked for as long as it takes to measure them."""

from __future__ import annotations

import shutil
import zipfile
from pathlib import Path

from speedcal.errors import FleetError


def unpacked(path: str, into: Path) -> Path | None:
    """Return the folder with what a zip holds; None where the source is none.

    Parameters
    ----------
    path
        The source.
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


def _innermost(folder: Path) -> Path:
    """Return the folder of the vehicles: one that lies in it alone, with folders in it, is what was packed."""
    inside = [path for path in folder.iterdir() if not path.name.startswith((".", "__"))]
    if len(inside) == 1 and inside[0].is_dir() and any(path.is_dir() for path in inside[0].iterdir()):
        return _innermost(inside[0])
    return folder
