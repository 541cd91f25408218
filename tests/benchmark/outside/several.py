"""Drives on which two things happen at once: a kind that differs from the plain one in all that either does."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from itertools import combinations
from typing import Any, TypeVar

from benchmark.outside.drive import Kind
from benchmark.outside.kinds import GROUPS, KINDS

T = TypeVar("T")
JOINT = " + "
_PLAIN = {"logs": "log", "notes": "notes", "held": "held"}
_CONTRARY = ({"from the side", "notes, digital"}, {"steep", "steep, heights"}, {"steep", "steep, bad heights"})
"""What nobody would say of one drive: a display seen from the side, a track with heights and without."""


def joined(name: str) -> Kind:
    """Return the kind in which all named by ``a + b`` come together; they are of one group."""
    parts = name.split(JOINT)
    group = next(group for group, kinds in GROUPS.items() if parts[0] in kinds)
    plain = _fixed(_PLAIN[group])
    kind = plain
    for part in parts:
        kind = _with(kind, _fixed(part), plain)
    return kind


def pairs() -> list[str]:
    """Return all pairs within logs, within notes and within lists."""
    return [
        f"{one}{JOINT}{other}"
        for group, plain in _PLAIN.items()
        for one, other in combinations([kind for kind in GROUPS[group] if kind != plain], 2)
        if {one, other} not in _CONTRARY
    ]


def _fixed(name: str) -> Kind:
    kind = KINDS[name]
    if not isinstance(kind, Kind):
        raise ValueError(f"{name} draws its parts anew for every drive and cannot be joined")
    return kind


def _with(one: T, other: T, plain: T) -> T:
    """Return one with all that differs from the plain in the other."""
    changed: dict[str, Any] = {}
    for field in fields(plain):  # type: ignore[arg-type]
        here, there, usual = (getattr(each, field.name) for each in (one, other, plain))
        if there in (usual, here):
            continue
        if is_dataclass(there) and type(here) is type(there) is type(usual):
            changed[field.name] = _with(here, there, usual)
        else:
            changed[field.name] = {**here, **there} if isinstance(there, dict) else there
    return replace(one, **changed)  # type: ignore[type-var]
