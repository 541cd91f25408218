"""The first page, and what owner and customer see behind their links."""

from __future__ import annotations

from itertools import groupby
from operator import itemgetter

from markupsafe import Markup
from starlette.responses import Response

from speedcal.guide import find, pages, title
from speedcal.web.answers import RefusedError
from speedcal.web.kept.film_store import Films
from speedcal.web.pages.context import Context, View
from speedcal.web.pages.doors import is_shop
from speedcal.web.pages.drives import is_locked
from speedcal.web.pages.results import failure_of, result_of


def home(context: Context) -> Response:
    """Lead the shop to its jobs."""
    return context.go("/jobs")


def help_page(context: Context) -> Response:
    """Show a page of the guide, the same as ``speedcal guide`` does; without a topic the first."""
    topic = str(context.request.path_params.get("topic", next(iter(pages()))))
    if topic not in pages():
        raise RefusedError(404, "no_such_page")
    words = context.request.query_params.get("q", "")[:100]
    return context.page(
        "help.html",
        role="shop" if is_shop(context) else "",
        title=title(topic),
        topics={name: title(name) for name in pages()},
        topic=topic,
        words=words,
        found=[(name, [line for _, line in lines]) for name, lines in groupby(find(words), itemgetter(0))],
        text=_as_html(pages()[topic]),
    )


def _as_html(text: str) -> Markup:
    """Return a page of the guide as HTML: its own headings, tables and code, nothing else."""
    from markdown_it import MarkdownIt

    made = MarkdownIt("commonmark", {"html": False}).enable("table").render(text)
    made = made.replace("<pre>", '<pre class="scroll" tabindex="0">')
    before, *tables = made.split("<table>")
    for number, table in enumerate(tables, start=1):
        before += f'<div class="scroll" role="region" aria-label="Table {number}" tabindex="0"><table>{table}'
    return Markup(before.replace("</table>", "</table></div>"))  # noqa: S704 - our own pages


def owner_page(context: Context, view: View) -> Response:
    """Show the owner what to do, what came in, and the result."""
    web = context.web
    run = web.queue.active(view.job.id)
    own = [[d for d in web.store.drives(view.job.id, removed=gone) if d.phase in view.phases] for gone in (False, True)]
    return context.page(
        "owner.html",
        title="Your speedometer drive",
        drives=own[0],
        films=Films(web.store).of_job(view.job.id, view.phases),
        removed=own[1],
        is_locked=is_locked(context, view),
        run=run,
        ahead=web.queue.ahead(run) if run else 0,
        result=result_of(context, view),
        failure=failure_of(context, view),
    )


def customer_page(context: Context, view: View) -> Response:
    """Show the customer the result, with the report and the PDF."""
    return context.page("customer.html", title="Speedometer report", result=result_of(context, view))
