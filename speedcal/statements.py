"""One statement a key: what a table of the job file may hold, read, checked and written back by that statement.

The statements are data files, ``data/keys/*.toml``: name, kind, range, unit, meaning and example of each key. Reading a
table, the nearest-name hint, the fields of the form, the reference in the guide and writing TOML all follow from them.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any, Literal, get_args

Kind = Literal[
    "text", "file", "number", "whole", "ratio", "flag", "word", "speeds", "range", "teeth", "date",
    "dial unit", "speed unit", "table", "tables", "setting", "family", "numbers",
]  # fmt: skip
KINDS: tuple[Kind, ...] = get_args(Kind)


_STATEMENTS = {"before": "drive", "after": "drive"}
"""Tables of a job file that are stated under another name."""


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a table, as its data file states it."""

    table: str
    name: str
    kind: Kind
    meaning: str
    example: str = ""
    """As it is written in a job file."""
    unit: str = ""
    above: float | None = None
    least: float | None = None
    most: float | None = None
    words: tuple[str, ...] = ()
    part: str = ""
    """Which kind of table it belongs to where there are several, such as ``own`` for a rule of your own."""
    one_of: str = ""
    """Keys of one such name say the same thing in different units; one of them may stand."""
    needed: bool = False
    label: str = ""
    """What the form calls it; empty where the form has no field for it alone."""
    hint: str = ""
    empty: str = ""
    """What the form calls leaving it out, for a choice of words."""
    long: bool = False
    more: bool = False
    """Whether the form folds it away."""
    also: tuple[str, ...] = ()
    """Other names that people try, for the hint alone."""


@dataclass(frozen=True, slots=True)
class OneOf:
    """Keys that say the same thing in different units, as one field of the form."""

    label: str
    hint: str = ""
    more: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """The keys of one table, in the order in which people fill them in."""

    name: str
    title: str
    about: str
    keys: Mapping[str, Key]
    one_of: Mapping[str, OneOf]
    hint: str = ""
    more_title: str = ""
    more_hint: str = ""

    def part(self, name: str) -> Iterator[Key]:
        """Yield the keys of one part and those that every part has."""
        return (key for key in self.keys.values() if key.part in ("", name))


@cache
def stated(name: str) -> Table:
    """Return the statement of a table, such as ``vehicle`` or ``drive``."""
    text = resources.files("speedcal").joinpath(f"data/keys/{name}.toml").read_text(encoding="utf-8")
    data = tomllib.loads(text)
    keys = {key: _key(name, key, entry) for key, entry in data.pop("keys").items()}
    one_of = {group: OneOf(**entry) for group, entry in data.pop("one_of", {}).items()}
    return Table(name=name, keys=MappingProxyType(keys), one_of=MappingProxyType(one_of), **data)


def _key(table: str, name: str, entry: Mapping[str, Any]) -> Key:
    return Key(table=table, name=name, **{**entry, **{name: tuple(entry.get(name, ())) for name in ("words", "also")}})


def nearest(name: str, known: Iterable[str]) -> str | None:
    """Return the known word closest to ``name``, or None when none is close."""
    close = difflib.get_close_matches(name.strip().lower(), sorted(known), n=1, cutoff=0.6)
    return close[0] if close else None


def not_known(found: object, known: Iterable[str]) -> dict[str, Any]:
    """Return what a problem says of a name that is not known: the name, the nearest one, and all of them."""
    names = sorted(known)
    return {"found": str(found), "near": nearest(str(found), names), "known": names}


def tables_with(name: str) -> list[str]:
    """Return the tables of a job file that have a key of this name."""
    return [table for table in stated("document").keys if name in stated(_STATEMENTS.get(table, table)).keys]


def not_a_key(found: str, keys: Mapping[str, Key]) -> dict[str, Any]:
    """Return the same of a key, which may be near to one by another name that people give it."""
    meant = {name: key.name for key in keys.values() for name in (*key.also, key.name)}
    near = nearest(found.replace("-", "_").replace(" ", "_"), meant)
    return not_known(found, keys) | {"near": near and meant[near]}
