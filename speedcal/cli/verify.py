"""``speedcal verify``: the verdict on the drive after the work."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from speedcal.cli import EXIT_FAIL, EXIT_NOT_PROVEN
from speedcal.cli._drives import measured, refuse, said_of_the_job
from speedcal.cli._options import FILE, emit_explained, explain_option, result_options
from speedcal.errors import JobError
from speedcal.units import DisplayUnit

if TYPE_CHECKING:
    from speedcal.jobs import MeasuredJob

_EXIT = {"pass": 0, "fail": EXIT_FAIL, "not proven": EXIT_NOT_PROVEN}


@click.command()
@click.argument("job", type=FILE)
@explain_option
@result_options
def command(job: Path, explain: bool, as_json: bool, unit: DisplayUnit | None) -> None:
    r"""Judge the drive after the work of JOB against its tolerance.

    The exit status tells the verdict: 0 pass, 1 fail, 3 not proven, 2 when the input cannot be used.

    \b
    Example:
      speedcal verify job.toml

    A passenger writes the readings down, the driver drives. Keep to the speed limit, on a suitable road.
    Local rules on speedometers and odometers come first.
    """
    from speedcal.jobs import load_job
    from speedcal.text.results.verdict import in_full

    loaded = load_job(job).shown_in(unit)
    if not loaded.after:
        raise JobError("no_drive_after", source=loaded.source.name)
    if loaded.tolerance is None:
        raise JobError("no_tolerance", source=loaded.source.name)
    known, refused = measured(loaded)
    if known is None or refused:
        refuse(refused, lambda: _without(known), as_json)
    verification = known.verification
    assert verification is not None  # noqa: S101 - both parts are there
    emit_explained(verification, as_json, in_full(verification) if explain else None)
    sys.exit(_EXIT[verification.verdict])


def _without(known: MeasuredJob | None) -> tuple[dict[str, Any], str] | None:
    """Return the verdict on what is left; where no drive after the work is, what the whole job says."""
    verification = known.verification if known else None
    return ({"verification": verification.to_dict()}, str(verification)) if verification else said_of_the_job(known)
