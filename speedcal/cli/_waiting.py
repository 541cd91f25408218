"""A sign on the terminal that work goes on, and how far it is."""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial

_AFTER_S = 1.5


@contextmanager
def waiting(what: str) -> Iterator[None]:
    """Show a moving bar on standard error while the body runs, once it has taken a second and a half.

    Only where a person watches; a pipe or a file gets nothing.

    Parameters
    ----------
    what
        What is being done, such as ``reading drive.gpx``.
    """
    if not sys.stderr.isatty():
        yield
        return
    done = threading.Event()
    watcher = threading.Thread(target=_show, args=(what, done), daemon=True)
    watcher.start()
    try:
        yield
    finally:
        done.set()
        watcher.join()


@contextmanager
def progress_bar(what: str, *, total: float | None = 1.0) -> Iterator[Callable[..., None]]:
    """Give what moves a bar on, by ``completed``, ``total`` and ``description``; it is seen where a person watches."""
    if not sys.stderr.isatty():
        yield lambda **_changed: None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        yield partial(bar.update, bar.add_task(what, total=total))


def _show(what: str, done: threading.Event) -> None:
    if done.wait(_AFTER_S):
        return
    from rich.console import Console
    from rich.markup import escape
    from rich.progress import Progress, TimeElapsedColumn

    columns = (*Progress.get_default_columns()[:2], TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        bar.add_task(escape(what), total=None)
        done.wait()
