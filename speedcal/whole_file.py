"""Files that are read or written whole or not at all."""

from __future__ import annotations

import errno
import os
import secrets
import shutil
from collections.abc import Mapping
from pathlib import Path

_MOST_SMALL_BYTES = 1_000_000
"""Size of a file that a person writes: a job, the marks of a dial, a shelf of gears. [bytes]"""


def read_small(path: Path) -> bytes:
    """Return a file that a person wrote.

    Raises
    ------
    OSError
        It cannot be read, or it is larger than such a file can be (``EFBIG``), as one without an end is.
    """
    with path.open("rb") as file:
        data = file.read(_MOST_SMALL_BYTES + 1)
    if len(data) > _MOST_SMALL_BYTES:
        raise OSError(errno.EFBIG, os.strerror(errno.EFBIG), str(path))
    return data


def write_whole(contents: Mapping[Path, bytes]) -> None:
    """Write files under other names and give them their own once all are there.

    Where the disk is full or the program is stopped, none is cut off and those of an earlier result stay.

    Raises
    ------
    OSError
        One of them cannot be written.
    """
    aside: dict[Path, Path] = {}
    try:
        for named, data in contents.items():
            path = named.resolve() if named.is_symlink() else named
            exists = path.exists()
            if exists and not path.is_file():  # /dev/null, a pipe
                path.write_bytes(data)
                continue
            if exists and not os.access(path, os.W_OK):
                raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))
            made = aside[path] = path.with_name(f".{secrets.token_hex(8)}.part")
            made.write_bytes(data)
            if exists:
                shutil.copymode(path, made)
        for path, made in aside.items():
            made.replace(path)
    finally:
        for made in aside.values():
            made.unlink(missing_ok=True)
