"""Damage done to a file: bytes flipped, lines dropped, doubled, swapped, fields blanked, the end cut off.

Every layout of a log damaged in every way, over and over: ``python tests/support/mutations.py FIRST COUNT``.
"""

from __future__ import annotations

import random
import re
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

STRUCTURAL = ("drop", "double", "swap")
"""Damage that leaves every line that remains as it was."""
KINDS = ("flip", "insert", "delete", "blank", "cut", *STRUCTURAL)


def mutate(data: bytes, kind: str, chance: random.Random) -> bytes:
    """Return the file with one to three places damaged in one way."""
    for _ in range(chance.randint(1, 3)):
        data = _ONCE[kind](data, chance) if data else data
    return data


def _flip(data: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(data))
    return data[:at] + bytes([data[at] ^ (1 << chance.randrange(8))]) + data[at + 1 :]


def _insert(data: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(data) + 1)
    extra = chance.choice(
        [b"\x00", b"\xff", b"<", b">", b'"', b",", b";", b"\n", b"-", b"9" * 50, b"NaN", b"1e400", b"$", b"&"]
    )
    return data[:at] + extra + data[at:]


def _delete(data: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(data))
    return data[:at] + data[at + chance.randint(1, 20) :]


def _cut(data: bytes, chance: random.Random) -> bytes:
    return data[: chance.randrange(len(data))]


def _blank(data: bytes, chance: random.Random) -> bytes:
    """Empty one field: what stands between two delimiters or two tags."""
    fields = list(re.finditer(rb"(?<=[,;\t>\"])[^,;\t<>\"\r\n]+(?=[,;\t<\"\r\n])", data))
    if not fields:
        return _delete(data, chance)
    field = chance.choice(fields)
    return data[: field.start()] + data[field.end() :]


def _lines(data: bytes, change) -> bytes:  # type: ignore[no-untyped-def]
    lines = data.split(b"\n")
    change(lines)
    return b"\n".join(lines)


def _drop(data: bytes, chance: random.Random) -> bytes:
    return _lines(data, lambda lines: lines.pop(chance.randrange(len(lines))))


def _double(data: bytes, chance: random.Random) -> bytes:
    def change(lines: list[bytes]) -> None:
        at = chance.randrange(len(lines))
        lines.insert(at, lines[at])

    return _lines(data, change)


def _swap(data: bytes, chance: random.Random) -> bytes:
    def change(lines: list[bytes]) -> None:
        a, b = chance.randrange(len(lines)), chance.randrange(len(lines))
        lines[a], lines[b] = lines[b], lines[a]

    return _lines(data, change)


_ONCE = {
    "flip": _flip,
    "insert": _insert,
    "delete": _delete,
    "cut": _cut,
    "blank": _blank,
    "drop": _drop,
    "double": _double,
    "swap": _swap,
}


def faults(first: int, count: int, path: Path) -> Iterator[str]:
    """Damage layouts and read them, and yield what is neither a result that holds nor an error of ours."""
    from support.structures import FILES

    from speedcal.logs import read_readings, read_track

    names = list(FILES)
    for number in range(first, first + count):
        name, kind = names[number % len(names)], KINDS[number // len(names) % len(KINDS)]
        path.write_bytes(mutate(FILES[name], kind, random.Random(number)) or b"x")  # noqa: S311 - damage, no secrets
        for read in (read_track, read_readings):
            own_clock = read is read_readings and name == "one file an instrument"
            fault = _fault(read, path, kind in STRUCTURAL and name != "a sheet" and not own_clock)
            if fault:
                yield f"{number} {name}, {kind}, {read.__name__}: {fault}"


def _fault(read: Any, path: Path, structural: bool) -> str:
    """Return what is wrong with reading a file, empty when nothing is."""
    import numpy as np
    from support.structures import DRIVE, SHOWN_KMH

    from speedcal.errors import SpeedcalError

    try:
        found = read(path)
    except SpeedcalError as error:
        return "" if 0 < len(str(error)) < 5000 else f"{len(str(error))} characters"
    except Exception as error:
        return repr(error)
    if max(map(len, str(found).split())) > 60:
        return "long words"
    if not (np.isnan(found.speed_mps) | (found.speed_mps >= 0)).all():
        return "speeds"
    if not structural or (read.__name__ == "read_readings" and found.clock not in {"gps", "utc"}):
        return ""
    at = np.rint(found.time_s - DRIVE.time_s[0]).astype(int)
    if ((at < 0) | (at >= len(DRIVE.time_s))).any():
        return "times"
    if read.__name__ == "read_track":
        return "" if np.abs(found.latitude_deg - DRIVE.latitude_deg[at]).max() < 1e-7 else "positions of other times"
    known = np.isfinite(found.speed_mps)
    return "" if np.abs(found.speed_mps * 3.6 - SHOWN_KMH[at])[known].max() < 1e-6 else "readings of other times"


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
    with tempfile.TemporaryDirectory() as folder:
        first, count = map(int, sys.argv[1:])
        found = list(faults(first, count, Path(folder, "log")))
    sys.stdout.write("".join(f"{line}\n" for line in found) + f"{count} damaged files, {len(found)} faults\n")
