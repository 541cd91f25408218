"""The command: each subcommand lives in a module of its own, imported when it is called, so that help is quick."""

from __future__ import annotations

import codecs
import contextlib
import importlib
import io
import json
import os
import sys
import traceback
from collections.abc import Sequence
from typing import Any

import click

from speedcal.cli._screen import tell
from speedcal.errors import SpeedcalError

COMMANDS = {
    "axle": "Axle ratio from counted turns, engine speed or a drive.",
    "backup": "Everything of the upload page in one file, while it runs.",
    "calibrate": "How the instrument reads, from a recorded drive.",
    "correct": "Which gear, scaling or setting cancels the error.",
    "explain": "Which tires, axle gears or gear teeth would explain the error.",
    "fleet": "Many vehicles in one list of those that are wrong.",
    "film": "Read the speedometer from a film of it.",
    "guide": "The reference: files, job file, rules, what the numbers mean.",
    "history": "The drives of one vehicle over months, and what happened between them.",
    "inspect": "What a log or readings file is, and what is in it.",
    "plan": "Which speeds to hold in the road test, how long and how often.",
    "report": "Run a job and write the page, the plot and the numbers.",
    "restore": "Put a backup of the upload page into an empty folder.",
    "serve": "Start the upload page.",
    "tire": "Diameter, circumference and turns per mile of a tire size.",
    "trim": "Write a drive back as GPX with its ends cut off.",
    "verify": "Judge the drive after the work against a tolerance.",
}
"""Every subcommand and what it does; the module ``speedcal.cli.<name>`` holds it as ``command``."""

EXIT_FAIL, EXIT_UNUSABLE, EXIT_NOT_PROVEN = 1, 2, 3
EXIT_INTERRUPTED = 130
"""As of any program that Ctrl+C ends."""
EXIT_UNREAD = 141
"""As of any program whose output nobody reads any more, as in ``| head``."""


def _keep_lines(command: click.Command) -> click.Command:
    r"""Turn the ``\b`` of a raw docstring into the character by which click keeps the lines of a paragraph."""
    command.help = command.help and command.help.replace("\\b\n", "\b\n")
    return command


class _LazyGroup(click.Group):
    """A group that imports a subcommand when it is called, and lists them without importing any."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = importlib.import_module(f"speedcal.cli.{cmd_name}").command
        return _keep_lines(command)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            raise SpeedcalError("unknown_command", found=args[0], known=sorted(COMMANDS))
        return super().resolve_command(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:  # click would end with 1, which says that the verdict is a fail
            raise click.exceptions.Exit(EXIT_INTERRUPTED) from None
        except BrokenPipeError:  # so would it when the reader of a pipe goes away
            _let_go()
            raise click.exceptions.Exit(EXIT_UNREAD) from None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(sorted(COMMANDS.items()))


@click.group(cls=_LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="speedcal")
def cli() -> None:
    r"""Put a speedometer right after a change of tires or axle gears, and prove it.

    \b
    Typical order of work:
      speedcal inspect drive.gpx readings.csv     what is in the files
      speedcal calibrate drive.gpx readings.csv   how the instrument reads
      speedcal correct job.toml                   which gear or setting cancels the error
      speedcal plan job.toml                      the road test after the work
      speedcal report job.toml --out result       the page for the customer
    """


_keep_lines(cli)


_PLAIN = {"\u2212": "-", "\u2013": "-", "\u00d7": "x", "\u00b1": "+-"}
"""How the signs of a result are written where a pipe cannot carry them."""


def _plainly(error: UnicodeError) -> tuple[str | bytes, int]:
    if isinstance(error, UnicodeEncodeError) and error.object[error.start] in _PLAIN:
        return _PLAIN[error.object[error.start]], error.start + 1
    return codecs.backslashreplace_errors(error)


def main(arguments: Sequence[str] | None = None) -> None:
    r"""Run the command; a problem with the user's files, or of the machine, ends in one message and exit status 2.

    Letters that a pipe cannot carry (on Windows it knows one alphabet) are written as ``\u0141``, which JSON knows too,
    and a minus sign as a hyphen.
    """
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:  # closed by whoever started this
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115 - as long as the program runs
    if isinstance(sys.stdout, io.TextIOWrapper):
        codecs.register_error("plainly", _plainly)
        sys.stdout.reconfigure(errors="plainly")
    as_json = "--json" in (sys.argv[1:] if arguments is None else arguments)
    try:
        sys.exit(cli.main(args=arguments, prog_name="speedcal", standalone_mode=False) or 0)
    except click.Abort:  # Ctrl+C where click asks or reads the arguments
        sys.exit(EXIT_INTERRUPTED)
    except click.UsageError as problem:
        if as_json:
            command = problem.ctx.command_path if problem.ctx else "speedcal"
            reason = problem.format_message().removesuffix(".")
            _answer(SpeedcalError("call_unusable", reason=reason, command=command))
        with _as_far_as_written():
            problem.show()
    except (SpeedcalError, OSError) as problem:
        error = problem if isinstance(problem, SpeedcalError) else _refused(problem)
        if as_json:
            _answer(error)
        with _as_far_as_written():
            tell(f"speedcal: {error}", err=True)
    except Exception:  # Python would end with 1, which says that the verdict is a fail
        with _as_far_as_written():
            traceback.print_exc()
    _let_go()
    sys.exit(EXIT_UNUSABLE)


def _refused(error: OSError) -> SpeedcalError:
    return SpeedcalError("system_refused", source=error.filename or "", reason=error.strerror or str(error))


def _as_far_as_written() -> contextlib.suppress:
    """Go on where the system refuses even what is said about that: the exit status tells it."""
    return contextlib.suppress(OSError)


def _let_go() -> None:
    """Drop what nobody takes: written once more at the end and refused, it would make the exit status 120."""
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _answer(error: SpeedcalError) -> None:
    with _as_far_as_written():
        click.echo(json.dumps(error.to_dict(), ensure_ascii=False))
