"""Rows that cannot be read: a few are left out and named, many are the fault of the file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from speedcal.errors import Problem, raise_problems
from speedcal.finding import Finding
from speedcal.interval import BoolArray, IntArray
from speedcal.logs.source import Source

_MOST_LISTED, _MOST_BAD = 20, 0.2
"""Bad lines that are listed one by one, and the share of the lines from which it is the file that is wrong."""
_MOST_NAMED = 5
"""Lines that are named with what stands in them where the others are used."""


def sort_out(
    source: Source, problems: Sequence[Problem], line: IntArray, dropped: Counter[str], *, column: str = ""
) -> tuple[BoolArray, list[Finding]]:
    """Return which rows to leave out, and what to say of them; refuse the file where more than a fifth is bad.

    Parameters
    ----------
    problems
        What is wrong, each with its line; a line that is none of the rows counts as one of the file.
    line
        Lines of the rows, shape (n,).
    dropped
        Counts by the code of the reason; a row counts once.
    column
        Header of the column that most of the problems stand in.
    """
    first: dict[int, Problem] = {}
    for problem in sorted(problems, key=lambda item: item.line or 0):
        first.setdefault(problem.line or 0, problem)
    rows = len({*line.tolist(), *first})
    if len(first) > _MOST_BAD * rows:
        refuse(source, problems, rows, column=column)
    dropped.update(problem.code for problem in first.values())
    named = list(first.values())[:_MOST_NAMED]
    findings = [Finding("rows_unreadable", count=len(first), problems=named)] if first else []
    return np.isin(line, list(first)), findings


def refuse(source: Source, problems: Sequence[Problem], rows: int, *, column: str = "") -> None:
    """Raise what is wrong with lines, if anything is; where it is most of the lines, the first stands for all."""
    ordered = sorted(problems, key=lambda item: item.line or 0)
    if len(ordered) > max(_MOST_LISTED, _MOST_BAD * rows):
        source.fail(
            "most_rows_unreadable", line=ordered[0].line, column=column, count=len(ordered), problems=ordered[:1]
        )
    if ordered:
        raise_problems(ordered, source=source.name, kind=source.error)
