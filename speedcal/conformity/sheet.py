"""The sheet that a passenger fills in, and the table it is typed into."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from speedcal.conformity.roadtest import RoadTestPlan
from speedcal.units import SPEED_UNIT_MPS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LETTER, _A4 = (8.5, 11.0), (210 / 25.4, 297 / 25.4)
_MARGIN = 0.55
_ODOMETER = {"mph": "odometer mi", "km/h": "odometer km"}
_NO_COLUMN, _HOLD_COLUMN, _SECONDS_COLUMN = 0.32, 0.62, 0.5
_LIGHT, _DARK = "0.92", "0.25"

HOW_TO_FILL = (
    "Write the time to the second, from the clock of one phone or watch, and what the pointer shows at that moment,",
    "as it is, also when it is beside the mark. Between two holds of the same mark slow down and come back to it.",
)


def render_template(plan: RoadTestPlan) -> str:
    """Return the table to type the readings into, as CSV that :func:`speedcal.read_readings` reads when filled in.

    One line a reading, in the order of the plan; lines without a reading may stay empty.
    """
    factor = SPEED_UNIT_MPS[plan.unit]
    lines = [f"hold,time hh:mm:ss,indicated {plan.unit},{_ODOMETER[plan.unit]}"]
    for plateau in plan.plateaus:
        lines += [f"{plateau.mark_mps / factor:.0f},,,"] * plateau.readings
    return "\n".join(lines) + "\n"


def render_sheet(plan: RoadTestPlan, *, heading: str = "") -> bytes:
    """Return the sheet as a PDF of one page: cautions, holds, blanks. The same plan gives the same bytes.

    Parameters
    ----------
    plan
        The road test.
    heading
        Shop and job number, for the top of the page.
    """
    import matplotlib as mpl

    with mpl.rc_context({"pdf.fonttype": 42, "font.family": "DejaVu Sans", "text.usetex": False}):
        figure = draw_sheet(plan, heading=heading)
        page = io.BytesIO()
        about = {"Title": "Road test sheet", "Creator": "speedcal", "Producer": None, "CreationDate": None}
        figure.savefig(page, format="pdf", metadata=about)
    return page.getvalue()


def draw_sheet(plan: RoadTestPlan, *, heading: str = "") -> Figure:
    """Return the page as a figure, in inches from the top left corner."""
    from matplotlib.backends.backend_pdf import FigureCanvasPdf
    from matplotlib.figure import Figure

    width, height = _LETTER if plan.unit == "mph" else _A4
    figure = Figure(figsize=(width, height))
    FigureCanvasPdf(figure)
    page = figure.add_axes((0, 0, 1, 1))
    page.set_xlim(0, width)
    page.set_ylim(height, 0)
    page.axis("off")
    top = _draw_head(page, plan, heading, width)
    top = _draw_cautions(page, plan, top, width)
    top = _draw_lines(page, HOW_TO_FILL, top, width, color="black")
    bottom = _draw_table(page, plan, top, height - _MARGIN - 0.62, width)
    _draw_lines(page, _promise(plan), bottom + 0.12, width, color=_DARK)
    return figure


def _draw_head(page: Axes, plan: RoadTestPlan, heading: str, width: float) -> float:
    _write(page, _MARGIN, 0.72, "Road test sheet", size=17, weight="bold")
    _write(page, width - _MARGIN, 0.72, heading, size=9.5, align="right", room=width / 2)
    limit = f"Speed limit {plan.speed_limit_mps / SPEED_UNIT_MPS[plan.unit]:.0f} {plan.unit}"
    _write(page, _MARGIN, 0.98, plan.vehicle_label or "Vehicle:", size=10.5, room=width - 2 * _MARGIN - 2)
    _write(page, width - _MARGIN, 0.98, limit, size=10.5, weight="bold", align="right")
    blanks = (("Date", 1.5), ("Driver", 1.9), ("Passenger", 1.9), ("Clock", 1.3))
    _draw_blanks(page, 1.32, blanks, width)
    unit = "miles" if plan.unit == "mph" else "km"
    odometer = ((f"Odometer at start ({unit})", 2.4), ("at end", 1.4), ("Tire pressures", 1.9))
    _draw_blanks(page, 1.64, odometer, width)
    return 1.8


def _draw_blanks(page: Axes, y: float, blanks: tuple[tuple[str, float], ...], width: float) -> None:
    scale = (width - 2 * _MARGIN) / sum(size for _, size in blanks)
    x = _MARGIN
    for label, size in blanks:
        _write(page, x, y, label, size=8.5, color=_DARK)
        page.plot([x + 0.068 * len(label) + 0.08, x + size * scale - 0.1], [y, y], color="0.4", lw=0.6)
        x += size * scale


def _draw_cautions(page: Axes, plan: RoadTestPlan, top: float, width: float) -> float:
    from matplotlib.patches import Rectangle

    step = 0.17
    height = 0.12 + step * len(plan.cautions)
    page.add_patch(Rectangle((_MARGIN, top), width - 2 * _MARGIN, height, facecolor=_LIGHT, edgecolor="black", lw=1.2))
    for i, caution in enumerate(plan.cautions):
        y = top + 0.19 + step * i
        _write(page, _MARGIN + 0.1, y, "!", size=9, weight="bold")
        _write(page, _MARGIN + 0.25, y, caution, size=8.3, room=width - 2 * _MARGIN - 0.35)
    return top + height + 0.14


def _draw_table(page: Axes, plan: RoadTestPlan, top: float, bottom: float, width: float) -> float:
    from matplotlib.patches import Rectangle

    factor = SPEED_UNIT_MPS[plan.unit]
    most = max(plateau.readings for plateau in plan.plateaus)
    row = min(0.42, (bottom - top - 0.3) / len(plan.plateaus))
    left = _MARGIN + _NO_COLUMN + _HOLD_COLUMN + _SECONDS_COLUMN
    cell = (width - _MARGIN - left) / most
    heads = ((_MARGIN + _NO_COLUMN / 2, "no."), (_MARGIN + _NO_COLUMN + _HOLD_COLUMN / 2, f"hold {plan.unit}"))
    for x, text in (*heads, (left - _SECONDS_COLUMN / 2, "for s")):
        _write(page, x, top + 0.2, text, size=7, align="center", color=_DARK, room=0.6)
    for j in range(most):
        _write(page, left + cell * (j + 0.31), top + 0.2, "time", size=7, align="center", color=_DARK)
        _write(page, left + cell * (j + 0.81), top + 0.2, "shows", size=7, align="center", color=_DARK)
    top += 0.28
    for i, plateau in enumerate(plan.plateaus):
        y = top + row * i
        text_y = y + row * 0.5 + 0.05
        if i % 2 == 0:
            page.add_patch(Rectangle((_MARGIN, y), left - _MARGIN, row, facecolor=_LIGHT, lw=0))
        _write(page, _MARGIN + _NO_COLUMN / 2, text_y, f"{i + 1}", size=8, align="center", color=_DARK)
        mark = f"{plateau.mark_mps / factor:.0f}"
        _write(
            page, _MARGIN + _NO_COLUMN + _HOLD_COLUMN / 2, text_y + 0.01, mark, size=12, weight="bold", align="center"
        )
        _write(page, left - _SECONDS_COLUMN / 2, text_y, f"{plateau.hold_s:.0f}", size=8, align="center", color=_DARK)
        for j in range(plateau.readings):
            x = left + cell * j
            page.plot([x + 0.62 * cell] * 2, [y, y + row], color="0.6", lw=0.4, ls=(0, (2, 2)))
    end = top + row * len(plan.plateaus)
    for i in range(len(plan.plateaus) + 1):
        page.plot([_MARGIN, width - _MARGIN], [top + row * i] * 2, color="0.3", lw=0.6)
    for j in range(most + 1):
        page.plot([left + cell * j] * 2, [top, end], color="0.3", lw=0.9)
    page.plot([_MARGIN] * 2, [top, end], color="0.3", lw=0.9)
    return end


def _draw_lines(page: Axes, lines: tuple[str, ...], top: float, width: float, *, color: str) -> float:
    for i, line in enumerate(lines):
        _write(page, _MARGIN, top + 0.16 * i + 0.06, line, size=8, room=width - 2 * _MARGIN, color=color)
    return top + 0.16 * len(lines)


def _promise(plan: RoadTestPlan) -> tuple[str, ...]:
    """Say how long it takes, and what it will tell under which assumptions."""
    minutes, road = f"{plan.duration_s / 60:.0f}", plan.distance_text(plan.distance_m)
    assumed = {a.name: a for a in plan.assumptions}
    pointer, stamp, step = (assumed[name] for name in ("pointer_scatter", "stamp_scatter", "reading_step"))
    status = "from memory" if "from memory" in (pointer.status, stamp.status, step.status) else "as stated"
    return (
        f"{plan.n_readings} readings, about {minutes} minutes, {road} of road; no single stretch longer than "
        f"{plan.distance_text(plan.stretch_m)}.",
        f"Answers: {plan.target_text}. Error factor to ±{plan.half_width_percent:.2f} % (95 %) in nine drives of ten,",
        f"if readings scatter by {pointer.value:g} {pointer.unit}, times by {stamp.value:g} {stamp.unit}, and the dial "
        f"is read to {step.value:g} {step.unit} ({status}).",
    )


def _write(
    page: Axes,
    x: float,
    y: float,
    text: str,
    *,
    size: float,
    align: str = "left",
    weight: str = "normal",
    color: str = "black",
    room: float | None = None,
) -> None:
    """Write a line; when it needs more room than there is, it is set smaller, and at last cut short."""
    words = page.text(x, y, _printable(text), fontsize=size, ha=align, weight=weight, color=color, parse_math=False)
    if room is None:
        return
    needed = _width_in(page, words)
    if needed > room:
        words.set_fontsize(max(size * room / needed * 0.99, 6.0))
    while _width_in(page, words) > room and len(words.get_text()) > 1:
        words.set_text(words.get_text()[:-2] + "…")


def _width_in(page: Axes, words: object) -> float:
    figure = page.get_figure()
    assert figure is not None  # noqa: S101 - the page belongs to a figure
    return float(words.get_window_extent().width / figure.dpi)  # type: ignore[attr-defined]


def _printable(text: str) -> str:
    """Replace signs that the font of the sheet does not have; names in such scripts belong on the report."""
    from matplotlib.font_manager import FontProperties, findfont, get_font

    font = get_font(findfont(FontProperties(family="DejaVu Sans")))
    return "".join(c if font.get_char_index(ord(c)) else "□" for c in text if c.isprintable())
