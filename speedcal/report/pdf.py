"""The printed page, the customer's picture and the correction card, typeset from the report's data."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from speedcal.report.charts import Pictures
from speedcal.report.model import ReportModel, SpeedRow
from speedcal.report.typesetting import PageKind, Paper, typeset
from speedcal.text.pages import correction_card as card_text
from speedcal.text.pages import report_for_customer as text
from speedcal.text.pages import report_for_tech as tech_text
from speedcal.text.words.names import shortened

if TYPE_CHECKING:
    from speedcal.report.for_tech import DriveDetail

_LINE, _NOTE = 90, 220
"""Most letters of a name and of a note at the head of the page."""
_DOTS_PER_INCH = 216.0
"""The picture is 360 points wide, as a phone is; three dots a point."""

Block = dict[str, str]


def render_pdf(model: ReportModel, pictures: Pictures, *, paper: Paper = "a4") -> bytes:
    """Return the report as a PDF of one page; what does not fit is left to the page for the browser."""
    shown = _shown_details(model)
    clocks = {f"clock{i}.svg": svg for i in shown if (svg := pictures.clocks[i])}
    both = model.has_before and model.has_after
    facts = (("For", model.customer, _LINE), ("Vehicle", model.vehicle, _LINE), ("Note", model.note, _NOTE))
    data = {
        "paper": paper,
        "title": f"{model.title} {shortened(model.number, _LINE)}".strip(),
        "heading": model.title,
        "shop": shortened(model.shop, _LINE),
        "number": f"Job {shortened(model.number, 40)}" if model.number else "",
        "facts": [[name, shortened(value, most)] for name, value, most in facts if value],
        "driven": f"Driven {'; '.join(f'{name}: {when}' for name, when in model.driven)}" if model.driven else "",
        "warnings": [shortened(warning, 400) for warning in model.warnings],
        "next": {"heading": model.next_heading, "steps": model.next_steps},
        "sentence": model.sentence,
        "small": " ".join(filter(None, (*model.sentences[1:], model.cause, text.RANGES, *model.missing))),
        "picture_text": model.picture_text,
        "side": _side(model),
        "table": {
            "heads": ["true speed", *(["shown before", "shown after"] if both else ["shown"])],
            "rows": [_table_row(row) for row in model.rows],
            "note": f"* {text.NOT_DRIVEN}" if any(row.outside for row in model.rows) else "",
        },
        "middle": [_work(model), _safety()],
        "tech": {
            "heading": text.HEADINGS["tech"] + tech_text.more_drives(len(model.details) - len(shown)),
            "caption": tech_text.CLOCK_MATCH_IN_SHORT if clocks else "",
            "clocks": [_clock(model.details[i], i, has_picture=f"clock{i}.svg" in clocks) for i in shown],
            "columns": [*(_drive(model.details[i]) for i in shown), _method(model)],
        },
        "more": text.MORE,
    }
    return typeset("report", data, pictures={"wide.svg": pictures.wide, **clocks})


def render_picture(model: ReportModel, pictures: Pictures, *, kind: PageKind) -> bytes:
    """Return what the customer keeps: the sentence, the verdict in words and the comparison, as wide as a phone."""
    verdict = model.verdict
    names = (model.shop, model.number, model.vehicle)
    data = {
        "title": model.title,
        "about": model.picture_text,
        "sentence": model.sentence,
        "verdict": {"mark": verdict.mark, "word": verdict.word, "says": verdict.sentence} if verdict else None,
        "picture_text": model.picture_text,
        "foot": " · ".join(shortened(name, _LINE) for name in names if name),
    }
    return typeset("picture", data, pictures={"narrow.svg": pictures.narrow}, kind=kind, dots_per_inch=_DOTS_PER_INCH)


def render_card(model: ReportModel, *, kind: PageKind = "pdf") -> bytes:
    """Return the correction card for the dash: what the dial shows at the true speeds of the model."""
    _, driven = model.driven[-1]
    said = card_text.words(model.card, model.unit, model.vehicle, driven)
    return typeset("card", said, kind=kind, dots_per_inch=300.0)


def _blocks(kind: str, lines: Iterable[str]) -> list[Block]:
    return [{"kind": kind, "text": line} for line in lines]


def _section(heading: str, lines: Iterable[str], kind: str = "item") -> list[Block]:
    """Return a heading with its lines; nothing where there are no lines."""
    parts = _blocks(kind, lines)
    return [*_blocks("heading", [heading]), *parts] if parts else []


def _side(model: ReportModel) -> dict[str, Any] | None:
    """Return the verdict."""
    verdict = model.verdict
    if verdict is None:
        return None
    blocks = [*_blocks("plain", [verdict.sentence, verdict.rule]), *_blocks("small", [verdict.source])]
    return {"heading": f"{verdict.mark} {verdict.word}", "blocks": blocks}


def _table_row(row: SpeedRow) -> list[tuple[str, ...]]:
    first = f"{row.true[0]} *" if row.outside else row.true[0]
    return [(first, *row.true[1:]), *(cell for cell in (row.before, row.after) if cell)]


def _work(model: ReportModel) -> list[Block]:
    """Return what was done, what is left or can be fitted, and the odometer."""
    changes = model.verdict.otherwise if model.verdict else ()
    fit = model.to_fit
    rows = fit.rows if fit else ()
    choices = ["; ".join(filter(None, (f"{name}: worst error left {worst}", more))) for name, worst, more in rows]
    return [
        *_section(text.HEADINGS["done"], [*model.done, *changes]),
        *_section(text.HEADINGS["left"], model.left),
        *(_section(fit.heading, [*choices, *fit.notes]) if fit else ()),
        *_section(text.HEADINGS["odometer"], model.odometer),
    ]


def _safety() -> list[Block]:
    """Return what keeps people safe and within the law; it is never cut."""
    law = (text.ODOMETER_LAW, text.ODOMETER_LAW_IN_FULL)
    return [*_section(text.HEADINGS["cautions"], text.CAUTIONS), *_section(text.HEADINGS["law"], law, "plain")]


def _shown_details(model: ReportModel) -> list[int]:
    """Return the places of the first drive before and the first drive after the work."""
    firsts = [next((i for i, d in enumerate(model.details) if d.is_before is before), None) for before in (True, False)]
    return [i for i in firsts if i is not None]


def _clock(detail: DriveDetail, place: int, *, has_picture: bool) -> dict[str, str]:
    return {
        "file": f"clock{place}.svg" if has_picture else "",
        "text": detail.picture_text if has_picture else detail.no_clocks,
    }


def _drive(detail: DriveDetail) -> list[Block]:
    return _section(f"Drive {detail.name}", detail.in_short(), "plain")


def _method(model: ReportModel) -> list[Block]:
    files = [f"{digest[:16]}  {shortened(name, 60)}" for name, digest in model.files]
    vehicle = [f"{name}: {value}" for name, value in model.depth.in_short] if model.depth else []
    vehicle += [model.explained.in_short()] if model.explained else []
    method = [*filter(None, [model.method_in_short]), tech_text.version(model.version), *files]
    return [
        *_section(tech_text.METHOD_HEADING, method, "plain"),
        *_section(tech_text.VEHICLE_HEADING, vehicle, "plain"),
    ]
