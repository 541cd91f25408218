"""Damage done to a file: bytes flipped, lines dropped, doubled, swapped, fields blanked, the end cut off."""

from __future__ import annotations

import random
import re

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
