"""The facts of the trade that ship with the package: data files with a source beside every value."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any


@cache
def facts(name: str) -> Mapping[str, Any]:
    """Return a data file such as ``tires`` or ``gear_families/plain_sleeve``; it cannot be changed."""
    path = resources.files("speedcal") / "data" / f"{name}.toml"
    return _frozen(tomllib.loads(path.read_text(encoding="utf-8")))  # type: ignore[no-any-return]


def _frozen(value: Any) -> Any:
    if isinstance(value, dict):
        return MappingProxyType({key: _frozen(item) for key, item in value.items()})
    return tuple(_frozen(item) for item in value) if isinstance(value, list) else value


@cache
def shipped_families() -> Mapping[str, Mapping[str, Any]]:
    """Return the gear families that ship with the package, by name, as tables."""
    folder = resources.files("speedcal") / "data" / "gear_families"
    names = sorted(entry.name.removesuffix(".toml") for entry in folder.iterdir() if entry.name.endswith(".toml"))
    tables = [facts(f"gear_families/{name}") for name in names]
    return MappingProxyType({table["name"]: table for table in tables})
