"""The form of a job: shown, checked, saved, also when two people are at it and when the unit of the dial changes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from starlette.responses import Response

from speedcal.errors import Problem, SpeedcalError
from speedcal.schema import TableReader
from speedcal.units import SPEED_UNIT_MPS
from speedcal.web.answers import RefusedError
from speedcal.web.pages.context import Context, View, plain
from speedcal.web.pages.fields import Field, field_of, fields, groups, read_form, show_form
from speedcal.web.pages.meanwhile import changed_names, seen_in, seen_text

_LONGEST_NOTE = 4000
_SEEN_CHARACTERS = 200_000
_KEY = ".key"


@dataclass(frozen=True)
class _Said:
    """What stands above the form, and at its fields."""

    problems: Mapping[str, Problem] = field(default_factory=dict)
    meanwhile: tuple[tuple[Field, str, str], ...] = ()
    """What somebody else changed: its field, what it was, what it is."""
    meanings: tuple[tuple[Field, str, str], ...] = ()
    """What means something else in the new unit: its field, what it was, what it would be."""
    is_sent: bool = True

    @property
    def status(self) -> int:
        """Status of the page."""
        if not self.is_sent:
            return 200
        return 422 if self.problems else 409 if self.meanwhile or self.meanings else 200


def new_job_page(context: Context) -> Response:
    """Show the empty form of a job; shop and unit are those of the job before."""
    texts = {
        "job.shop": context.web.store.fact("last shop") or "",
        "job.unit": context.web.store.fact("last unit") or "mph",
    }
    return _page(context, None, texts, _Said(is_sent=False))


def edit_job_page(context: Context, view: View) -> Response:
    """Show the form of a job, with what is wrong in it when it came in that way."""
    problems = problems_of(view.job.document)
    return _page(context, view, show_form(view.job.document), _Said(problems, is_sent=False))


def _page(
    context: Context, view: View | None, texts: Mapping[str, str], said: _Said, *, unit_seen: str = ""
) -> Response:
    shown = {f.id for f in fields()}
    return context.page(
        "job_form.html",
        said.status,
        title="Change the job" if view else "New job",
        role="shop",
        base=view.base if view else "",
        job=view.job if view else None,
        groups=groups(),
        texts={name: text for name, text in texts.items() if text},
        seen=seen_text(show_form(view.job.document)) if view else "",
        unit_seen=unit_seen,
        said=said,
        problems={name: _in_the_form(problem) for name, problem in said.problems.items() if name in shown},
        others=[problem.text for name, problem in said.problems.items() if name not in shown],
        action=f"{view.base}/edit" if view else "/jobs/new",
    )


def _in_the_form(problem: Problem) -> str:
    """Say what is wrong with a field; which one it is, the form shows."""
    return Problem(problem.code, **{**problem.values, "place": "form"}).text


def save_job(context: Context, view: View | None = None) -> Response:
    """Keep a job; what cannot be used is said above the form, which keeps what was typed."""
    texts, problems = _sent(context)
    if context.text("restore") == "yes":
        return _page(context, view, texts, _Said(is_sent=False))
    if view and (meanwhile := _meanwhile(context, view, texts)):
        return _page(context, view, texts, _Said(meanwhile=tuple(meanwhile)))
    document, unread = read_form(texts, view.job.document if view else {})
    in_part = {f.table for f in fields() if f.id in unread} - {"job"}  # what was not read would be missed in them
    problems = {**problems_of({t: v for t, v in document.items() if t not in in_part}), **unread, **problems}
    if problems:
        return _page(context, view, texts, _Said(problems))
    if view and (meanings := _meanings(context, view, texts, document)):
        return _page(context, view, texts, _Said(meanings=tuple(meanings)), unit_seen=texts["job.unit"])
    store = context.web.store
    for fact, key in (("last shop", "shop"), ("last unit", "unit")):
        store.set_fact(fact, str(document.get("job", {}).get(key, "")))
    if view is None:
        job_id = store.add_job(document)
        context.web.runner.ask_for_result(job_id)
        return context.go(f"/jobs/{job_id}")
    if document != view.job.document:
        store.pin_units(view.job.id, view.job.unit)
        if not store.change_job(view.job.id, document, seen=view.job.document):
            raise RefusedError(409, "job_changed_meanwhile")
        context.web.runner.look_again_at_checks(view.job.id)
        context.web.runner.ask_for_result(view.job.id)
    return context.go(view.base)


def _sent(context: Context) -> tuple[dict[str, str], dict[str, Problem]]:
    """Return what was typed by field, and the fields that are too long."""
    texts: dict[str, str] = {}
    problems: dict[str, Problem] = {}
    for f in fields():
        most = _LONGEST_NOTE if f.long or f.kind == "table" else context.limits.text_characters
        text = plain(str(context.form.get(f.id) or "")).strip().replace("\r\n", "\n")
        if len(text) > most:
            problems[f.id] = Problem("field_too_long", most=most)
        texts[f.id] = text
        if f.keys:
            texts[f.id + _KEY] = context.text(f.id + _KEY)
    return texts, problems


def _meanwhile(context: Context, view: View, texts: dict[str, str]) -> list[tuple[Field, str, str]]:
    """Return what was changed since the form was opened, and take it over where it was left alone in this form."""
    seen, now = seen_in(context.text("seen", most=_SEEN_CHARACTERS)), show_form(view.job.document)
    if seen is None:
        return []
    told = []
    for f in fields():
        if not changed_names(seen, now, (f.id, f.id + _KEY) if f.keys else (f.id,)):
            continue
        was, there, mine = (state.get(f.id, "") for state in (seen, now, texts))
        if mine != there:
            told.append((f, _shown(f, was), _shown(f, there)))
        if mine == was:
            texts |= {name: now.get(name, "") for name in (f.id, f.id + _KEY)}
    return told


def _shown(f: Field, text: str) -> str:
    return next((word for value, word in f.choices if value == text), text)


def _meanings(
    context: Context, view: View, texts: Mapping[str, str], document: Mapping[str, Any]
) -> list[tuple[Field, str, str]]:
    """Return the fields whose number stays and whose meaning changes with the unit of the dial, unless that was shown.

    What was measured is not among them: a drive keeps the unit it was read in.
    """
    old, new = view.job.unit, texts["job.unit"]
    if old == new or context.text("unit_seen") == new or old not in SPEED_UNIT_MPS or new not in SPEED_UNIT_MPS:
        return []
    before = show_form(view.job.document)
    length = {"mph": "mi", "km/h": "km"}
    told = []
    for f in fields():
        has_own = f.table == "tolerance" and "unit" in document.get("tolerance", {})
        text = texts.get(f.id, "")
        if f.in_unit_of_dial and text and text == before.get(f.id) and not has_own:
            was, now = (old, new) if f.in_unit_of_dial == "speed" else (length[old], length[new])
            told.append((f, f"{text} {was}", f"{text} {now}"))
    return told


def problems_of(document: Mapping[str, Mapping[str, Any]]) -> dict[str, Problem]:
    """Return what the rooms that own the tables of a job say against them, by the field it belongs to."""
    from speedcal.conformity import load_tolerance
    from speedcal.vehicle import Vehicle, Work

    head = TableReader(document.get("job", {}), "job")
    problems = {field_of("job", str(p.values.get("key", ""))): p for p in head.problems}
    readers: dict[str, Callable[[Mapping[str, Any]], object]] = {
        "vehicle": Vehicle.from_dict,
        "work": Work.from_dict,
        "tolerance": lambda table: load_tolerance(table, unit=head.values.get("unit", "mph")),
    }
    for table, read in readers.items():
        try:
            if table in document:
                read(document[table])
        except SpeedcalError as error:
            for problem in error.problems or (Problem(error.code, **error.values),):
                place = field_of(str(problem.values.get("table", table)), str(problem.values.get("key", "")))
                problems.setdefault(place, problem)
    return problems
