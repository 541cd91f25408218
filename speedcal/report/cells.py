"""A figure said twice, once in each unit."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Cell:
    """A figure in the unit of the report and in the other one."""

    text: str
    other: str
