"""The report on one sheet of paper, A4 or Letter: vector pictures, embedded fonts, text that can be searched."""

from __future__ import annotations

from typing import TYPE_CHECKING

from speedcal.report import style, words
from speedcal.report.clockmatch import draw_clock_match
from speedcal.report.comparison import draw_comparison
from speedcal.report.depth import IN_SHORT
from speedcal.report.detail import NOT_IN_IT
from speedcal.report.figures import figure_bytes
from speedcal.report.flow import text_width
from speedcal.report.model import ReportModel
from speedcal.report.sheet import Block, Paper, Sheet, column_height, fitting_size
from speedcal.report.tags import with_structure

if TYPE_CHECKING:
    from speedcal.report.detail import DriveDetail

_GUTTER = 16.0
_PLOT_HEIGHT = 182.0
_TECH_HEIGHT = 248.0
_CLOCKS_HEIGHT = 84.0
_MOST_REJECTED = 4
"""More rejected readings than this are counted by reason."""
_UNSAID = ("0 %", NOT_IN_IT)
_LEAST_PT = 5.8
"""Smallest letters in a column; what does not fit then is left to the page for the browser, cautions never."""


def render_pdf(model: ReportModel, *, paper: Paper = "a4") -> bytes:
    """Return the report as a PDF of one page."""
    with style.drawing(*_foreign_texts(model)):
        sheet = draw_page(model, paper=paper)
        title = f"{model.title} {model.number}".strip()
        page = figure_bytes(sheet.figure, "pdf", metadata={"Title": title, "Subject": model.sentence})
        return with_structure(page, sheet.tags)


def draw_page(model: ReportModel, *, paper: Paper) -> Sheet:
    """Draw the page under the drawing settings now in force."""
    sheet = Sheet(paper)
    y = _header(sheet, model)
    y = _opening(sheet, model, y + 8)
    y = _picture_and_verdict(sheet, model, y + 6)
    y = _middle(sheet, model, y + 8, sheet.bottom - _TECH_HEIGHT - 8)
    _tech(sheet, model, y + 8)
    return sheet


def _foreign_texts(model: ReportModel) -> tuple[str, ...]:
    """Return the texts that may hold letters of any script."""
    names = [name for name, _ in model.files]
    findings = [text for detail in model.details for text in detail.findings]
    fit = [*model.to_fit.notes] if model.to_fit else []
    rule = [model.judgement.rule, model.judgement.source] if model.judgement else []
    label = [model.allowed.label] if model.allowed else []
    head = (model.shop, model.number, model.customer, model.vehicle, model.note)
    return (*head, *model.done, *names, *findings, *fit, *rule, *label)


def _header(sheet: Sheet, model: ReportModel) -> float:
    width = sheet.right - sheet.left
    y = sheet.line(sheet.left, sheet.top, model.shop or " ", width=0.64 * width, size=10, bold=True)
    if model.number:
        sheet.line(
            sheet.left + 0.66 * width, sheet.top, f"Job {model.number}", width=0.34 * width, size=10, align="right"
        )
    y = sheet.line(sheet.left, y, model.title, width=width, size=17, bold=True, tag="H1")
    named = (("For", model.customer), ("Vehicle", model.vehicle), ("Note", model.note))
    facts = [style.printable(f"{name}: {value}") for name, value in named if value]
    on_one_line = text_width("   ".join(facts), size=8.5) <= width
    for line in ["   ".join(facts)] if facts and on_one_line else facts:
        y = sheet.line(sheet.left, y + 1, line, width=width, size=8.5)
    driven = "Driven " + "; ".join(model.driven)
    y = sheet.paragraph(sheet.left, y, driven, width=width, size=7.5, color=style.QUIET, most=2)
    sheet.rule(y + 3, weight=1.6)
    return y + 3


def _opening(sheet: Sheet, model: ReportModel, y: float) -> float:
    width = sheet.right - sheet.left
    for warning in model.warnings:
        y = sheet.paragraph(sheet.left, y, warning, width=width, size=8.5, bold=True, most=2)
    y = sheet.paragraph(sheet.left, y, model.sentence, width=width, size=14, bold=True, most=3)
    small = f"{model.sentence_other} Ranges: 95 % probability. {' '.join(model.missing)}"
    return sheet.paragraph(sheet.left, y + 2, small, width=width, size=8, color=style.QUIET, most=4)


def _picture_and_verdict(sheet: Sheet, model: ReportModel, y: float) -> float:
    width = sheet.right - sheet.left
    side = 0.335 * width
    plot = width - side - _GUTTER
    ax = sheet.axes(sheet.left + 46, y + 22, plot - 46 - 26, _PLOT_HEIGHT - 22 - 26, shows=model.picture_text)
    draw_comparison(ax, list(model.curves), model.allowed, unit=model.unit, size=8)
    x = sheet.right - side
    table_height = 14 + 25 * len(model.rows)
    _side_box(sheet, model, x, y, side, _PLOT_HEIGHT - table_height - 8)
    _speed_table(sheet, model, x, y + _PLOT_HEIGHT - table_height, side)
    return y + _PLOT_HEIGHT


def _side_box(sheet: Sheet, model: ReportModel, x: float, y: float, width: float, height: float) -> None:
    """Draw the verdict, or what to fit while there is no drive after the work."""
    if model.judgement:
        verdict = model.judgement
        head = f"{verdict.mark} {verdict.word}"
        blocks = [
            Block(verdict.sentence),
            Block(f"Rule: {verdict.rule} – {verdict.limits}."),
            Block(f"Source: {verdict.source}.", "small"),
        ]
    elif model.to_fit:
        head = "What to fit or set"
        blocks = [Block(model.to_fit.sentence, "strong")]
        blocks += [Block(note) for note in model.to_fit.notes]
    else:
        head = "No verdict"
        blocks = [Block(line) for line in model.missing]
    sheet.box(x, y, width, height)
    top = sheet.line(x + 7, y + 5, head, width=width - 14, size=12, bold=True, tag="H2")
    _columns(sheet, [blocks], x + 7, top + 1, width=width - 14, height=y + height - top - 5, size=7.6)


def _speed_table(sheet: Sheet, model: ReportModel, x: float, y: float, width: float) -> None:
    both = model.has_before and model.has_after
    names = ["true speed", *(["shown before", "shown after"] if both else ["shown"])]
    starts = (0.0, 0.3, 0.65)
    for name, at in zip(names, starts, strict=False):
        sheet.write(x + at * width, y, name, size=7, bold=True)
    y += 11
    for row in model.rows:
        sheet.rule(y, x=x, width=width, weight=0.4)
        mark = " *" if row.outside else ""
        sheet.write(x, y + 2, f"{row.true.text} {model.unit}{mark}", size=7.4)
        sheet.write(x, y + 12, f"{row.true.other} {model.other_unit}", size=6.4, color=style.QUIET)
        for cell, at in zip((c for c in (row.before, row.after) if c), starts[1:], strict=False):
            sheet.write(x + at * width, y + 2, cell.text, size=7.4)
            sheet.write(x + at * width, y + 12, cell.other, size=6.4, color=style.QUIET)
        y += 25
    if any(row.outside for row in model.rows):
        sheet.write(x, y + 1, "* not driven; carried on along the line", size=6, color=style.QUIET)


def _middle(sheet: Sheet, model: ReportModel, y: float, bottom: float) -> float:
    """Write what was done, what is left and the odometer on the left, cautions and law on the right."""
    width = (sheet.right - sheet.left - _GUTTER) / 2
    done = [*model.done, *(model.judgement.changes_in_short if model.judgement else ())]
    left = [Block("What was done", "heading"), *(Block(line, "item") for line in done)] if done else []
    if model.left:
        left += [Block("What is left", "heading"), *(Block(line, "item") for line in model.left)]
    if model.to_fit:
        left += [Block("Choices", "heading")]
        left += [
            Block(f"{r.name}: worst error {r.worst}, odometer {r.odometer}; {r.remarks}", "item")
            for r in model.to_fit.rows
        ]
    left += [Block("Odometer", "heading"), *(Block(line, "item") for line in model.odometer)]
    right = [Block("Cautions for the road test and the work", "heading")]
    right += [Block(line, "item") for line in words.CAUTIONS]
    right += [Block("Odometer and the law", "heading"), *(Block(line) for line in words.ODOMETER_LAW)]
    height = max(bottom - y, column_height(right, width=width, size=_LEAST_PT + 0.4) + 1)
    return _columns(sheet, [left, right], sheet.left, y, width=width, height=height, size=8)


def _tech(sheet: Sheet, model: ReportModel, y: float) -> None:
    sheet.rule(y, weight=0.8)
    shown = _shown_details(model)
    more = len(model.details) - len(shown)
    tail = f" ({more} more {'drive' if more == 1 else 'drives'} in report.html)" if more else ""
    sheet.write(sheet.left, y + 4, f"For the tech{tail}", size=9, bold=True, tag="H2")
    sheet.write(
        sheet.right, y + 6, "clock match: each reading, the error taken out, lies on the GPS speed", size=6.5,
        color=style.QUIET, align="right",
    )  # fmt: skip
    y += 19
    width = (sheet.right - sheet.left - _GUTTER * (len(shown) - 1)) / len(shown)
    for i, detail in enumerate(shown):
        x = sheet.left + i * (width + _GUTTER)
        _clock_match(sheet, model, detail, x, y, width)
    _tech_columns(sheet, model, shown, y + _CLOCKS_HEIGHT + 4)


def _shown_details(model: ReportModel) -> list[DriveDetail]:
    """Return the first drive before and the first drive after the work."""
    firsts = [next((d for d in model.details if d.name.startswith(name)), None) for name in ("before", "after")]
    return [detail for detail in firsts if detail is not None]


def _clock_match(sheet: Sheet, model: ReportModel, detail: DriveDetail, x: float, y: float, width: float) -> None:
    if not detail.has_clock_match:
        text = f"Drive {detail.name}: speeds held in order without times, so there are no clocks to match."
        sheet.paragraph(x, y + 20, text, width=width, size=7.5, color=style.QUIET)
        return
    look = style.BEFORE if detail.name.startswith("before") else style.AFTER
    ax = sheet.axes(x + 28, y, width - 30, _CLOCKS_HEIGHT - 22, shows=detail.picture_text)
    draw_clock_match(ax, detail.calibration, unit=model.unit, drawn_as=look, size=6.8)


def _tech_columns(sheet: Sheet, model: ReportModel, shown: list[DriveDetail], y: float) -> None:
    columns = [_drive_blocks(detail) for detail in shown] + [_method_blocks(model)]
    width = (sheet.right - sheet.left - _GUTTER * (len(columns) - 1)) / len(columns)
    _columns(sheet, columns, sheet.left, y, width=width, height=sheet.bottom - y, size=6.6)


def _columns(
    sheet: Sheet, columns: list[list[Block]], x: float, y: float, *, width: float, height: float, size: float
) -> float:
    """Fill columns of one width side by side, all in letters of one size, and return the lower edge of the longest."""
    size = fitting_size(columns, width=width, height=height, size=size, least=_LEAST_PT)
    places = ((blocks, x + i * (width + _GUTTER)) for i, blocks in enumerate(columns))
    return max(sheet.column(blocks, left, y, width=width, height=height, size=size) for blocks, left in places)


def _drive_blocks(detail: DriveDetail) -> list[Block]:
    blocks = [Block(f"Drive {detail.name}", "heading")]
    blocks += [Block(f"{name}: {value}") for name, value in detail.figures]
    if detail.budget:
        parts = ", ".join(f"{component} {share}" for component, _, _, share in detail.budget if share not in _UNSAID)
        blocks.append(Block(f"Uncertainty {detail.budget_title}: {parts}"))
    if len(detail.rejected) <= _MOST_REJECTED:
        blocks += [Block(f"Line {row.line}, shown {row.shown}: {row.verdict}") for row in detail.rejected]
    else:
        blocks += [Block(f"{count} readings not used: {reason}") for reason, count in detail.reasons]
    return blocks + [Block(text) for text in detail.findings]


def _method_blocks(model: ReportModel) -> list[Block]:
    blocks = [Block("Method, version, files", "heading"), Block(words.METHOD_IN_SHORT)]
    blocks.append(Block(f"speedcal {model.version}. SHA-256 of the files (first 16 digits; all in result.json):"))
    return blocks + [Block(f"{digest[:16]}  {name}") for name, digest in model.files] + _vehicle_blocks(model)


def _vehicle_blocks(model: ReportModel) -> list[Block]:
    """Return the shortest account of the vehicle side; all of it is on the page for the browser."""
    lines = [f"{name}: {value}" for name, value in model.depth.figures if name in IN_SHORT] if model.depth else []
    if model.explained:
        chance, parts, _ = model.explained.rows[0]
        named = ", ".join(part for part, departs in parts if departs)
        lines.append(f"Likeliest: {named or 'all as the job states'}, {chance}")
    return [Block("Vehicle, all choices in report.html", "heading"), *(Block(line) for line in lines)] if lines else []
