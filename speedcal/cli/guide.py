"""``speedcal guide``: the reference, in the terminal."""

from __future__ import annotations

import sys

import click

from speedcal.errors import SpeedcalError


@click.command()
@click.argument("topic", required=False)
@click.option("--find", "words", help="Show every line of the guide that has these words.")
def command(topic: str | None, words: str | None) -> None:
    r"""Show a page of the guide, or without TOPIC the list of pages.

    \b
    Examples:
      speedcal guide
      speedcal guide job-file
      speedcal guide --find "tread"
    """
    from speedcal.guide import find, pages, title

    if words is not None:
        rows = [f"{found}: {line}" for found, line in find(words)]
        if not rows:
            raise SpeedcalError("words_not_found", found=words)
        _show("\n".join(rows))
    elif topic is None:
        width = max(len(name) for name in pages())
        click.echo("\n".join(f"{name:<{width}}  {title(name)}" for name in pages()))
    elif topic in pages():
        _show(pages()[topic], is_page=True)
    else:
        raise SpeedcalError("unknown_page", found=topic, known=list(pages()))


def _show(text: str, *, is_page: bool = False) -> None:
    """Write a text; where a person watches, a page at a time and with its headings and tables drawn."""
    if not sys.stdout.isatty():
        click.echo(text.rstrip("\n"))
        return
    from rich.console import Console
    from rich.markdown import Markdown

    console = Console()
    with console.pager(styles=True):
        console.print(Markdown(text) if is_page else text, markup=False)
