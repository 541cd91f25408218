"""The first page, and what owner and customer see behind their links."""

from __future__ import annotations

from starlette.responses import Response

from speedcal.web.context import Context, View
from speedcal.web.results import failure_of, result_of


def home(context: Context) -> Response:
    """Lead the shop to its jobs."""
    return context.go("/jobs")


def owner_page(context: Context, view: View) -> Response:
    """Show the owner what to do, what came in, and the result."""
    web = context.web
    return context.page(
        "owner.html",
        title="Your speedometer drive",
        role="owner",
        base=view.base,
        job=view.job,
        drives=[drive for drive in web.store.drives(view.job.id) if drive.phase in view.phases],
        run=web.queue.active(view.job.id),
        result=result_of(context, view),
        failure=failure_of(context, view),
    )


def customer_page(context: Context, view: View) -> Response:
    """Show the customer the result, with the report and the PDF."""
    return context.page(
        "customer.html",
        title="Speedometer report",
        role="customer",
        base=view.base,
        job=view.job,
        result=result_of(context, view),
    )
