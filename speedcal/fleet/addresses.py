"""Files that are reached by an address, such as ``s3://bucket/drives``."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path, PurePosixPath
from typing import Any

from speedcal.errors import FleetError, SpeedcalError

_STAMPS = ("ETag", "Content-MD5", "mtime", "LastModified", "Last-Modified", "last_modified", "updated", "generation")
"""What the kinds of addresses call that which tells a file from the one that lay there before."""


def places_at(url: str) -> tuple[PurePosixPath, dict[PurePosixPath, str]]:
    """Return the place of a folder, and the address of every file in it by its place, sorted.

    Raises
    ------
    FleetError
        It cannot be opened, or a library is missing.
    """
    with _told(url):
        system, root = _reached(url)
        places = sorted(system.find(root))
        if not places:
            system.ls(root)  # a folder that is not there, or a server, is found empty
    return PurePosixPath(root), {PurePosixPath(place): str(system.unstrip_protocol(place)) for place in places}


def facts_at(url: str) -> tuple[int, int] | None:
    """Return the size of a file and a number that is another when the file is; None where nobody knows."""
    with _told(url):
        system, place = _reached(url)
        known = system.info(place)
    stamp = next((str(known[name]) for name in _STAMPS if known.get(name)), None)
    if stamp is None:
        return None
    return int(known.get("size") or 0), int(hashlib.sha256(stamp.encode()).hexdigest()[:15], 16)


@contextmanager
def opened(path: str) -> Iterator[Any]:
    """Give a file, on this machine or at an address, open for reading."""
    if "://" not in path:
        with Path(path).open("rb") as stream:
            yield stream
        return
    with _told(path):
        system, root = _reached(path)
        with system.open(root, "rb") as stream:
            yield stream


@contextmanager
def _told(url: str) -> Iterator[None]:
    """Say in words what keeps an address from being read."""
    try:
        yield
    except SpeedcalError:
        raise
    except FileNotFoundError:
        raise FleetError("source_missing", source=url) from None
    except ImportError as problem:
        raise FleetError("address_needs_library", source=url, reason=str(problem)) from None
    except Exception as problem:  # each kind of address has a library of its own, with errors of its own
        reason = str(problem).split("\n")[0] or type(problem).__name__
        raise FleetError("address_not_read", source=url, reason=reason) from None


def _reached(url: str) -> tuple[Any, str]:
    if find_spec("fsspec") is None:
        raise FleetError("library_missing", source=url, library="fsspec")
    import fsspec

    system, root = fsspec.core.url_to_fs(url)
    return system, root
