"""Looks up the words of a code and fills in the values."""

from __future__ import annotations

import functools
import importlib
from collections.abc import Callable, Mapping
from typing import Any

from speedcal.text.words.numbers import fill

Values = Mapping[str, Any]
Template = str | Callable[[Values], str]
"""Text with fields such as ``{offset_mps:speed}``, or a function of the values where the words depend on them."""

_ROOMS = (
    "format",
    "file",
    "checks",
    "film",
    "calibration",
    "vehicle",
    "advice",
    "conformity",
    "job",
    "fleet",
    "command",
    "page",
)


@functools.cache
def refusals() -> Mapping[str, tuple[Template, Template]]:
    """Return every code of an error with its sentence and its remedy, both without full stop."""
    return _gathered("REFUSALS")


@functools.cache
def findings() -> Mapping[str, Template]:
    """Return every code of a finding, a reason or a note with its sentence."""
    return _gathered("FINDINGS")


def label(code: str) -> str:
    """Return the short name of something counted or listed."""
    return str(labels().get(code, code))


def labelled(counts: Mapping[str, int]) -> str:
    """Return what was counted, by short names."""
    return ", ".join(f"{label(code)} {count}" for code, count in sorted(counts.items()))


@functools.cache
def labels() -> Mapping[str, str]:
    """Return every short name."""
    return _gathered("LABELS")


def _gathered(name: str) -> dict[str, Any]:
    every: dict[str, Any] = {}
    for room in _ROOMS:
        table = getattr(importlib.import_module(f"speedcal.text.codes.{room}_messages"), name, {})
        twice = every.keys() & table.keys()
        if twice:
            raise ValueError(f"{name}: {sorted(twice)} of {room}_messages stand elsewhere too")
        every |= table
    return every


def refusal(code: str, values: Values) -> tuple[str, str]:
    """Return what is wrong and what to do about it."""
    problem, remedy = refusals()[code]
    return place_of(values) + words_of(problem, values), words_of(remedy, values)


def place_of(values: Values) -> str:
    """Say in which drive, or in which table and key of a job file, a problem stands; a form says that by itself."""
    if "of_drive" in values:
        also = f" (its readings are those of drive {values['readings_of']})" if "readings_of" in values else ""
        return f"drive {values['of_drive']}{also}: "
    if "key" not in values or "table" not in values or values.get("place") == "form":
        return ""
    table = f"[{values['table']}] " if values["table"] else ""
    return f"{table}{values['key']}: "


def finding(code: str, values: Values) -> str:
    """Return the sentence of a finding."""
    drive = f"Drive {values['of_drive']}: " if "of_drive" in values else ""
    return drive + words_of(findings()[code], values)


def words_of(template: Template, values: Values) -> str:
    """Return a template filled with values."""
    return fill(template, values) if isinstance(template, str) else template(values)
