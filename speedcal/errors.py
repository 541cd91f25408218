"""One family of errors: what is wrong, where it is, and what to do about it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NoReturn

_MOST_SHOWN = 20


class SpeedcalError(Exception):
    """Something the user gave us cannot be used.

    Parameters
    ----------
    problem
        What is wrong, as one sentence without a full stop; quotes the value that was found.
    source
        Name of the file (or form field) it was found in; empty when there is none.
    line
        Line in that file, counted from 1.
    remedy
        What the user can do, as one sentence without a full stop.

    Examples
    --------
    >>> import speedcal
    >>> try:
    ...     speedcal.read_track("data_demo/nothing.gpx")
    ... except speedcal.SpeedcalError as error:
    ...     print(error.problem)
    the file cannot be opened: No such file or directory
    """

    problems: tuple[tuple[int | None, str], ...] = ()
    """The single problems with their lines, when the message lists several."""

    def __init__(self, problem: str, *, source: str = "", line: int | None = None, remedy: str = "") -> None:
        self.problem, self.source, self.line, self.remedy = problem, source, line, remedy
        where = source if line is None else f"{source}:{line}"
        stop = "" if problem.endswith("?") else "."
        super().__init__((f"{where}: " if where else "") + problem + stop + (f" {remedy}." if remedy else ""))

    def to_dict(self) -> dict[str, Any]:
        """Return the parts of the message, ready for JSON."""
        return {
            "error": type(self).__name__,
            "problem": self.problem,
            "source": self.source,
            "line": self.line,
            "remedy": self.remedy,
        }


class TrackFormatError(SpeedcalError):
    """A track file cannot be understood."""


class ReadingsFormatError(SpeedcalError):
    """A readings file cannot be understood."""


class AlignmentError(SpeedcalError):
    """The readings cannot be laid on the track: no common time, or more than one way to do it."""


class FitError(SpeedcalError):
    """The drive does not carry a calibration."""


class VehicleError(SpeedcalError):
    """A tire size, a gear or another fact of the vehicle cannot be used."""


class ToleranceError(SpeedcalError):
    """A tolerance rule is unknown or does not apply."""


class PlanError(SpeedcalError):
    """No road test can be planned from what is given."""


class JobError(SpeedcalError):
    """A job file cannot be used."""


def raise_problems(
    problems: Sequence[tuple[int | None, str]], *, source: str, remedy: str, kind: type[SpeedcalError]
) -> NoReturn:
    """Raise one error that lists every problem of a file (the first twenty, then how many more)."""
    if len(problems) == 1:
        line, text = problems[0]
        raise kind(text, source=source, line=line, remedy=remedy)
    rows = [f"\n  line {line}: {text}" if line is not None else f"\n  {text}" for line, text in problems[:_MOST_SHOWN]]
    more = len(problems) - _MOST_SHOWN
    tail = f"\n  and {more} more" if more > 0 else ""
    error = kind(f"{len(problems)} problems:{''.join(rows)}{tail}\n", source=source, remedy=remedy)
    error.problems = tuple(problems)
    raise error
