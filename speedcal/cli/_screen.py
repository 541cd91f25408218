"""Writing for people: on a screen whole words to a line, elsewhere each sentence on one line, as programs read it."""

from __future__ import annotations

import re
import shutil
import sys
import textwrap

import click

_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]")
"""Names and cells of other people's files may hold what drives a terminal."""
_NARROWEST = 40
"""On a screen of fewer columns whole words would leave more gaps than text."""


def tell(text: str, *, err: bool = False) -> None:
    """Write a text; where a person watches, no word is cut at the edge of the screen."""
    text = _CONTROL.sub("", text)
    if (sys.stderr if err else sys.stdout).isatty():
        text = folded(text, shutil.get_terminal_size().columns)
    click.echo(text, err=err)


def folded(text: str, columns: int) -> str:
    """Return a text with lines of at most so many columns; what goes on stands further in than where it began."""
    return "\n".join(_folded_line(line, max(columns, _NARROWEST)) for line in text.split("\n"))


def _folded_line(line: str, columns: int) -> str:
    if len(line) <= columns:
        return line
    inward = " " * (len(line) - len(line.lstrip()) + 2)
    whole = line.replace(" %", "\u00a0%")  # no number without its sign
    lines = textwrap.fill(whole, columns, subsequent_indent=inward, break_long_words=False, break_on_hyphens=False)
    return lines.replace("\u00a0%", " %")
