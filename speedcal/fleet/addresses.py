"""Files that are reached by an address, such as ``s3://bucket/drives``."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path, PurePosixPath
from typing import Any

from speedcal.errors import FleetError


def places_at(url: str) -> tuple[PurePosixPath, dict[PurePosixPath, str]]:
    """Return the place of a folder, and the address of every file in it by its place, sorted.

    Raises
    ------
    FleetError
        It cannot be opened, or a library is missing.
    """
    system, root = _reached(url)
    try:
        places = sorted(system.find(root))
    except (OSError, ValueError) as problem:
        raise FleetError("file_not_opened", source=url, reason=str(problem)) from None
    return PurePosixPath(root), {PurePosixPath(place): str(system.unstrip_protocol(place)) for place in places}


def _reached(url: str) -> tuple[Any, str]:
    if find_spec("fsspec") is None:
        raise FleetError("library_missing", source=url, library="fsspec")
    import fsspec

    try:
        system, root = fsspec.core.url_to_fs(url)
    except ImportError as problem:
        raise FleetError("address_needs_library", source=url, reason=str(problem)) from None
    except (OSError, ValueError) as problem:
        raise FleetError("file_not_opened", source=url, reason=str(problem)) from None
    return system, root


def opened(path: str) -> Any:
    """Return a file, on this machine or at an address, open for reading."""
    if "://" not in path:
        return Path(path).open("rb")
    system, root = _reached(path)
    return system.open(root, "rb")
