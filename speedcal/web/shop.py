"""The pages of the shop: jobs, their forms, their links, what is done with them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any

from starlette.background import BackgroundTask
from starlette.responses import FileResponse, Response

from speedcal.errors import Problem, SpeedcalError
from speedcal.text import page_messages
from speedcal.web.answers import RefusedError, attachment
from speedcal.web.auth import ROLES
from speedcal.web.context import Context, View
from speedcal.web.fields import field_of, fields, groups, read_form, show_form
from speedcal.web.figures import number_in
from speedcal.web.folder import job_files, lay_out, write_zip
from speedcal.web.results import failure_of, result_of
from speedcal.web.store import STAGES

_JOBS_SHOWN = 100
_LONGEST_NOTE = 4000
USUAL_LIMIT = {"mph": 65, "km/h": 100}
"""Legal speed that stands in the form of the road test until somebody writes another."""


def jobs_page(context: Context) -> Response:
    """List jobs, those that carry the searched words and are in the chosen state."""
    words = context.request.query_params.get("q", "")[:200]
    stage = context.request.query_params.get("state", "")
    found = context.web.store.find_jobs(words, stage, limit=_JOBS_SHOWN + 1)
    return context.page(
        "jobs.html",
        title="Jobs",
        role="shop",
        jobs=found[:_JOBS_SHOWN],
        more=len(found) > _JOBS_SHOWN,
        most=_JOBS_SHOWN,
        words=words,
        stage=stage if stage in STAGES else "",
        stages=page_messages.STAGES,
    )


def new_job_page(context: Context) -> Response:
    """Show the empty form of a job; shop and unit are those of the job before."""
    texts = {
        "job.shop": context.web.store.fact("last shop") or "",
        "job.unit": context.web.store.fact("last unit") or "mph",
    }
    return _job_form(context, None, texts)


def edit_job_page(context: Context, view: View) -> Response:
    """Show the form of a job."""
    return _job_form(context, view, show_form(view.job.document))


def _job_form(
    context: Context, view: View | None, texts: dict[str, str], problems: Mapping[str, Problem] = MappingProxyType({})
) -> Response:
    shown = {f.id for f in fields()}
    return context.page(
        "job_form.html",
        422 if problems else 200,
        title="Change the job" if view else "New job",
        role="shop",
        base=view.base if view else "",
        job=view.job if view else None,
        groups=groups(),
        texts=texts,
        problems={name: _in_the_form(problem) for name, problem in problems.items() if name in shown},
        others=[problem.text for name, problem in problems.items() if name not in shown],
        action=f"{view.base}/edit" if view else "/jobs/new",
    )


def _in_the_form(problem: Problem) -> str:
    """Say what is wrong with a field; which one it is, the form shows."""
    return Problem(problem.code, **{**problem.values, "place": "form"}).text


def save_job(context: Context, view: View | None = None) -> Response:
    """Keep a job; what cannot be used is said above the form, which keeps what was typed."""
    texts = {f.id: context.text(f.id, most=_LONGEST_NOTE if f.long or f.kind == "table" else None) for f in fields()}
    texts |= {f"{f.id}.key": context.text(f"{f.id}.key") for f in fields() if f.keys}
    document, problems = read_form(texts, view.job.document if view else {})
    problems = problems or _problems_of(document)
    if problems:
        return _job_form(context, view, texts, problems)
    store = context.web.store
    for fact, key in (("last shop", "shop"), ("last unit", "unit")):
        store.set_fact(fact, str(document.get("job", {}).get(key, "")))
    if view is None:
        return context.go(f"/jobs/{store.add_job(document)}")
    if document != view.job.document:
        store.change_job(view.job.id, document)
        context.web.runner.ask_for_result(view.job.id)
    return context.go(view.base)


def _problems_of(document: dict[str, dict[str, Any]]) -> dict[str, Problem]:
    """Return what the rooms that own the tables say against them, by the field it belongs to."""
    from speedcal.conformity import load_tolerance
    from speedcal.vehicle import Vehicle, Work

    unit = document.get("job", {}).get("unit", "mph")
    readers: dict[str, Callable[[Mapping[str, Any]], object]] = {
        "vehicle": Vehicle.from_dict,
        "work": Work.from_dict,
        "tolerance": lambda table: load_tolerance(table, unit=unit),
    }
    problems: dict[str, Problem] = {}
    for table, read in readers.items():
        try:
            if table in document:
                read(document[table])
        except SpeedcalError as error:
            for problem in error.problems or (Problem(error.code, **error.values),):
                place = field_of(str(problem.values.get("table", table)), str(problem.values.get("key", "")))
                problems.setdefault(place, problem)
    return problems


def job_page(context: Context, view: View) -> Response:
    """Show a job: its state, its result, its drives, its links."""
    web, job = context.web, view.job
    origin = f"{context.request.url.scheme}://{context.request.url.netloc}"
    doors = {"owner": "o", "customer": "c"}
    run = web.queue.active(job.id)
    links = [
        {"link": link, "address": f"{origin}/{doors[link.role]}/{web.auth.token(link)}"}
        for link in web.auth.links(job.id)
    ]
    return context.page(
        "job.html",
        title=job.title,
        role="shop",
        base=view.base,
        job=job,
        stages=page_messages.STAGES,
        phases=page_messages.PHASES,
        drives=web.store.drives(job.id),
        removed=web.store.drives(job.id, removed=True),
        run=run,
        ahead=web.queue.ahead(run) if run else 0,
        result=result_of(context, view),
        failure=failure_of(context, view),
        links=links,
        texts=show_form(job.document),
        groups=groups(),
        limits=context.limits,
        usual_limit=USUAL_LIMIT[job.unit],
    )


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
    web = context.web
    web.store.delete_job(view.job.id)
    web.originals.remove_job(view.job.id)
    web.store.buried(view.job.id)
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
    web, run_id = context.web, context.web.new_scratch_id()
    drives = [drive for drive in web.store.drives(view.job.id) if drive.is_complete]
    packed = web.originals.scratch(run_id) / "job.zip"
    try:
        write_zip(job_files(view.job, drives, web.originals), packed)
    except BaseException:
        web.originals.remove_scratch(run_id)
        raise
    return FileResponse(
        packed,
        media_type="application/zip",
        headers={"content-disposition": attachment(view.job.title, ".zip")},
        background=BackgroundTask(web.originals.remove_scratch, run_id),
    )


def sheet(context: Context, view: View) -> Response:
    """Send the sheet for the road test as a PDF."""
    web, run_id = context.web, context.web.new_scratch_id()
    drives = [d for d in web.store.drives(view.job.id) if d.is_usable and d.phase == "before"]
    scratch = web.originals.scratch(run_id)
    try:
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
    finally:
        web.originals.remove_scratch(run_id)
    headers = {"content-disposition": attachment(f"road test {view.job.title}", ".pdf")}
    return Response(content, media_type="application/pdf", headers=headers)


def _speed_limit(context: Context, view: View) -> float:
    text = context.request.query_params.get("limit", "").strip()
    try:
        limit = float(number_in(text) if text else USUAL_LIMIT[view.job.unit])
    except ValueError:
        limit = 0.0
    if not 0 < limit < 500:
        raise RefusedError(422, "legal_speed_not_read", found=text, wanted_unit=view.job.unit)
    return limit
