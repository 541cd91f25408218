"""What ``str()`` of a result shows: one short text a type."""

from __future__ import annotations

import functools

from speedcal.errors import SpeedcalError
from speedcal.finding import Trust

_MOST_LISTED = 20


@functools.singledispatch
def summary(result: object) -> str:
    """Return the few lines of a result.

    Raises
    ------
    TypeError
        Nothing is said about this type.
    """
    raise TypeError(f"no words for {type(result).__name__}")


@summary.register
def _(error: SpeedcalError) -> str:
    where = error.source if error.line is None else f"{error.source}:{error.line}"
    if not error.problems:
        stop = "" if error.problem.endswith("?") else "."
        remedy = f" {error.remedy}." if error.remedy else ""
        return (f"{where}: " if where else "") + error.problem + stop + remedy
    rows = [
        f"  line {problem.line}: {problem.text}" if problem.line is not None else f"  {problem.text}"
        for problem in error.problems[:_MOST_LISTED]
    ]
    if len(error.problems) > _MOST_LISTED:
        rows.append(f"  and {len(error.problems) - _MOST_LISTED} more")
    remedy = [f"{error.remedy}."] if error.remedy else []
    return "\n".join([(f"{where}: " if where else "") + f"{error.problem}:", *rows, *remedy])


@summary.register
def _(trust: Trust) -> str:
    return f"{trust.word} ({trust.reasons[0].text.rstrip('.')})" if trust.reasons else trust.word
