"""The pages of a job for the shop: its links, what is done with it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from starlette.responses import Response

from speedcal.text.pages import page_labels
from speedcal.units import USUAL_LIMIT
from speedcal.vehicle.data import facts
from speedcal.web.answers import RefusedError, attachment
from speedcal.web.figures import number_in
from speedcal.web.kept.auth import ROLES
from speedcal.web.kept.film_store import Films
from speedcal.web.kept.folder import job_files, lay_out
from speedcal.web.kept.history import entries
from speedcal.web.pages.context import Context, View
from speedcal.web.pages.fields import groups, show_form
from speedcal.web.pages.job_form import problems_of
from speedcal.web.pages.links import reach_notes, shown_links
from speedcal.web.pages.results import failure_of, result_of, zip_of

_TOLD = 50
"""Forms sent that a job's page lists, the latest ones."""


def job_page(context: Context, view: View) -> Response:
    """Show a job: its state, its result, its drives, its links."""
    web, job = context.web, view.job
    run, result = web.queue.active(job.id), result_of(context, view)
    if job.news:
        web.store.tell_news(job.id, "")
    return context.page(
        "job.html",
        title=job.title,
        stages=page_labels.STAGES,
        phases=page_labels.PHASES,
        drives=web.store.drives(job.id),
        removed=web.store.drives(job.id, removed=True),
        films=Films(web.store).of_job(job.id, view.phases),
        run=run,
        ahead=web.queue.ahead(run) if run else 0,
        result=result,
        failure=failure_of(context, view),
        links=shown_links(context, job),
        reach=reach_notes(context),
        texts=show_form(job.document),
        problems=[(name, problem.text) for name, problem in problems_of(job.document).items()],
        groups=groups(),
        told=entries(web.store, job.id, limit=_TOLD),
        usual_limit=f"{_usual_limit(job.unit, result):g}",
        by_distance=_by_distance(job.document.get("tolerance", {})),
    )


def _by_distance(rule: Mapping[str, Any]) -> bool:
    """Tell whether a rule is on the odometer: no sheet of speeds to hold settles it."""
    return bool(facts("tolerances").get(str(rule.get("rule")), rule).get("quantity") == "distance")


def _usual_limit(unit: str, result: Mapping[str, Any] | None) -> float:
    """Return the legal speed that the form starts with: none that the vehicle did not reach before the work."""
    driven = ((result or {}).get("now") or {}).get("before") or {}
    reached = [float(row["ground"]) for row in driven.get("errors", ()) if driven["speed_unit"] == unit]
    return min([USUAL_LIMIT[unit], *([max(reached)] if reached else [])])


def close_job(context: Context, view: View) -> Response:
    """Close a job, or open it again."""
    context.web.store.close_job(view.job.id, closed=context.text("closed") == "yes")
    return context.go(view.base)


def analyse_again(context: Context, view: View) -> Response:
    """Ask for the result once more."""
    context.web.runner.ask_for_result(view.job.id)
    return context.go(view.base)


def delete_page(context: Context, view: View) -> Response:
    """Ask before deleting."""
    drives = context.web.store.drives(view.job.id)
    return context.page(
        "delete.html", title=f"Delete {view.job.title}", role="shop", base=view.base, job=view.job, count=len(drives)
    )


def delete_job(context: Context, view: View) -> Response:
    """Delete a job, its originals, its results and its links."""
    context.web.delete_job(view.job.id)
    return context.go("/jobs")


def add_link(context: Context, view: View) -> Response:
    """Make a link."""
    role = context.text("role")
    if role not in ROLES:
        raise RefusedError(422, "no_kind_of_link")
    context.web.auth.add_link(view.job.id, role)
    return context.go(f"{view.base}#links")


def revoke_link(context: Context, view: View) -> Response:
    """End a link."""
    context.web.auth.revoke_link(view.job.id, str(context.request.path_params["link"]))
    return context.go(f"{view.base}#links")


def export_job(context: Context, view: View) -> Response:
    """Send the job folder that ``speedcal report`` runs, as a zip."""
    web = context.web
    drives = [drive for drive in web.store.drives(view.job.id) if drive.is_complete]
    return zip_of(web, view.job.title, iter([("job/", job_files(view.job, drives, web.originals))]))


def sheet(context: Context, view: View) -> Response:
    """Send the sheet for the road test as a PDF."""
    web = context.web
    drives = [d for d in web.store.drives(view.job.id) if d.is_usable and d.phase == "before"]
    with web.originals.workplace() as scratch:
        folder = lay_out(scratch / "job", job_files(view.job, drives, web.originals)) if drives else ""
        task = {
            "document": view.job.document,
            "unit": view.job.unit,
            "speed_limit": _speed_limit(context, view),
            "folder": str(folder),
            "out": str(scratch / "sheet.pdf"),
        }
        web.runner.once("sheet", task)
        content = (scratch / "sheet.pdf").read_bytes()
    headers = {"content-disposition": attachment(f"road test {view.job.title}", ".pdf")}
    return Response(content, media_type="application/pdf", headers=headers)


def _speed_limit(context: Context, view: View) -> float:
    text = context.request.query_params.get("limit", "").strip()
    try:
        limit = float(number_in(text) if text else _usual_limit(view.job.unit, result_of(context, view)))
    except ValueError:
        limit = 0.0
    if not 0 < limit < 500:
        raise RefusedError(422, "legal_speed_not_read", found=text, wanted_unit=view.job.unit)
    return limit
