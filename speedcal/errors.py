"""One family of errors: what is wrong, where it is, and what to do about it, as a code and values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NoReturn

from speedcal.finding import json_ready
from speedcal.wording import words


@dataclass(frozen=True, init=False)
class Problem:
    """One thing that is wrong in a file, a table or a form: ``Problem("unknown_unit", line=3, column="speed")``."""

    code: str
    line: int | None
    values: Mapping[str, Any] = field(hash=False)

    def __init__(self, code: str, /, *, line: int | None = None, **values: Any) -> None:
        object.__setattr__(self, "code", code)
        object.__setattr__(self, "line", line)
        object.__setattr__(self, "values", values)

    @property
    def text(self) -> str:
        """What is wrong, one sentence without its full stop."""
        return words().refusal(self.code, self.values)[0]

    @property
    def remedy(self) -> str:
        """What to do, one sentence without its full stop; may be empty."""
        return words().refusal(self.code, self.values)[1]

    def to_dict(self) -> dict[str, Any]:
        """Return the parts, ready for JSON."""
        return {
            "error": self.code,
            "line": self.line,
            "values": json_ready(self.values),
            "text": self.text,
            "remedy": self.remedy,
        }


class SpeedcalError(Exception):
    """Something the user gave us cannot be used.

    Parameters
    ----------
    code
        What is wrong, a snake_case code whose words stand in :mod:`speedcal.text`.
    source
        Name of the file (or form field) it was found in; empty when there is none.
    line
        Line in that file, counted from 1.
    problems
        The single problems, where several are reported at once.
    values
        What the sentence needs: what was found, the column, the option that settles it. SI, unit in the name.

    Examples
    --------
    >>> import speedcal
    >>> try:
    ...     speedcal.read_track("data_demo/nothing.gpx")
    ... except speedcal.SpeedcalError as error:
    ...     print(error.problem)
    the file cannot be opened: No such file or directory
    """

    def __init__(
        self,
        code: str,
        /,
        *,
        source: str = "",
        line: int | None = None,
        problems: Sequence[Problem] = (),
        **values: Any,
    ) -> None:
        self.code, self.source, self.line, self.values, self.problems = code, source, line, values, tuple(problems)
        super().__init__(code)

    @property
    def problem(self) -> str:
        """What is wrong, one sentence without its full stop."""
        return words().refusal(self.code, {**self.values, "problems": self.problems})[0]

    @property
    def remedy(self) -> str:
        """What the user can do, one sentence without its full stop; may be empty."""
        return words().refusal(self.code, {**self.values, "problems": self.problems})[1]

    def for_form(self) -> SpeedcalError:
        """Have it, and each of its problems, name fields of the form in place of keys and options; return it."""
        return self.told_at("form")

    def told_at(self, place: str) -> SpeedcalError:
        """Have it, and each of its problems, name what its reader can fill in at a place; return it.

        Parameters
        ----------
        place
            ``form``, or the table of a job file, such as ``[before]``.
        """
        self.values = {**self.values, "place": place}
        self.problems = tuple(Problem(p.code, line=p.line, **{**p.values, "place": place}) for p in self.problems)
        return self

    def __str__(self) -> str:
        return words().summary(self)

    def to_dict(self) -> dict[str, Any]:
        """Return the parts of the message, ready for JSON: error (the code), text, values, source, line, remedy."""
        parts: dict[str, Any] = {
            "error": self.code,
            "text": self.problem,
            "values": json_ready(self.values),
            "source": self.source,
            "line": self.line,
            "remedy": self.remedy,
        }
        if self.problems:
            parts["problems"] = [problem.to_dict() for problem in self.problems]
        return parts


class TrackFormatError(SpeedcalError):
    """A track file cannot be understood."""


class ReadingsFormatError(SpeedcalError):
    """A readings file cannot be understood."""


class AlignmentError(SpeedcalError):
    """The readings do not match the track at any clock offset, or at more than one."""


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


class FleetError(SpeedcalError):
    """No fleet can be made of what was given, or it cannot be computed where it should be."""


def check_kind(name: str, given: object, kind: type) -> None:
    """Raise a TypeError where a caller of the library gave something else than this, such as the name of a file."""
    if not isinstance(given, kind):
        raise TypeError(f"{name} must be a {kind.__name__}, not {type(given).__name__}")


def raise_problems(
    problems: Sequence[Any], *, source: str, kind: type[SpeedcalError], several: str = "several_problems", **values: Any
) -> NoReturn:
    """Raise one error for every problem of a file: the problem itself where there is one, else a list of all."""
    problems = [item if isinstance(item, Problem) else Problem(item[1], line=item[0]) for item in problems]
    if len(problems) == 1:
        one = problems[0]
        raise kind(one.code, source=source, line=one.line, **{**values, **one.values})
    raise kind(several, source=source, problems=problems, **values)
