"""The facts of the trade that ship with the package: data files with a source beside every value."""

from __future__ import annotations

import tomllib
from functools import lru_cache
from importlib import resources
from typing import Any


def _load(name: str) -> dict[str, Any]:
    return tomllib.loads((resources.files("speedcal") / "data" / name).read_text(encoding="utf-8"))


@lru_cache(maxsize=1)
def tire_facts() -> dict[str, Any]:
    """Return the conventions and allowances for tires (``tires.toml``)."""
    return _load("tires.toml")


@lru_cache(maxsize=1)
def axle_facts() -> dict[str, Any]:
    """Return the ring-and-pinion pairs that exist in the trade (``axle_gears.toml``)."""
    return _load("axle_gears.toml")


@lru_cache(maxsize=1)
def shipped_families() -> dict[str, Any]:
    """Return the gear families that ship with the package, by name, as tables."""
    folder = resources.files("speedcal") / "data" / "gear_families"
    files = sorted((entry for entry in folder.iterdir() if entry.name.endswith(".toml")), key=lambda entry: entry.name)
    tables = [tomllib.loads(entry.read_text(encoding="utf-8")) for entry in files]
    return {table["name"]: table for table in tables}


@lru_cache(maxsize=1)
def common_tires() -> tuple[str, ...]:
    """Return sizes met in the trade (``common_tires.toml``)."""
    return tuple(_load("common_tires.toml")["sizes"])


def tires_source() -> str:
    """Say where the common sizes come from."""
    facts = _load("common_tires.toml")
    return f"{facts['source']} ({facts['status']})"


@lru_cache(maxsize=1)
def explain_facts() -> dict[str, Any]:
    """Return what is believed before a drive when its error factor is explained (``explain.toml``)."""
    return _load("explain.toml")
