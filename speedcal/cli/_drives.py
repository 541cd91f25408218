"""The drives of a job measured for its commands, and what these still say where drives are refused."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, NoReturn

import click

from speedcal.cli import EXIT_UNUSABLE
from speedcal.cli._options import emit
from speedcal.cli._screen import tell
from speedcal.cli._waiting import waiting
from speedcal.errors import SpeedcalError
from speedcal.text.codes.command_messages import NOTHING_WRITTEN, WITHOUT_IT, WITHOUT_THESE, working_on

if TYPE_CHECKING:
    from speedcal.jobs import Job, MeasuredJob
    from speedcal.jobs.pipeline import Phase

Refused = tuple[SpeedcalError, ...]


def measured(job: Job, *, phases: tuple[Phase, ...] = ("before", "after")) -> tuple[MeasuredJob | None, Refused]:
    """Return the job with those of its drives measured that can be used, and what was refused of the others.

    A person at the terminal sees that work goes on.
    """
    with waiting(working_on("measuring", job.source.name)):
        from speedcal.jobs import measure_usable

        return measure_usable(job, phases=phases)


def said_of_the_job(known: MeasuredJob | None) -> tuple[dict[str, Any], str] | None:
    """Return what ``speedcal report`` says of the drives that are left, ready for JSON and as text."""
    from speedcal.jobs import analyse_job

    result = analyse_job(known) if known else None
    return (result.to_dict(), result.summary()) if result else None


def refuse(
    refused: Refused, rest: Callable[[], tuple[dict[str, Any], str] | None], as_json: bool, *, writes: bool = False
) -> NoReturn:
    """Tell what was refused of drives and, beside it, what a command says without them; end as with unusable input.

    Parameters
    ----------
    rest
        Called for that: the answer ready for JSON, by the name it has in the result of a job, and as text; None, or a
        refusal, where there is none.
    writes
        Whether the command would have written files.
    """
    try:
        answer = rest()
    except SpeedcalError:  # what else is wrong follows from the lack of drives
        answer = None
    if as_json:
        further = {"further": [error.to_dict() for error in refused[1:]]} if refused[1:] else {}
        without = {"without_it": answer[0]} if answer else {}
        emit({**refused[0].to_dict(), **further, **without}, as_json)
    else:
        for error in refused:
            tell(f"speedcal: {error}", err=True)
        if writes:
            tell(NOTHING_WRITTEN, err=True)
        if answer:
            tell("\n".join([WITHOUT_THESE if refused[1:] else WITHOUT_IT, answer[1]]))
    raise click.exceptions.Exit(EXIT_UNUSABLE)
