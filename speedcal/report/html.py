"""The report as one HTML file: nothing fetched, readable on a phone, on a desk and on paper."""

from __future__ import annotations

import base64
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from speedcal.report import words
from speedcal.report.figures import clock_match_svg, comparison_svg
from speedcal.report.model import ReportModel
from speedcal.report.style import AFTER, BEFORE

if TYPE_CHECKING:
    from jinja2 import Environment


def render_html(model: ReportModel) -> str:
    """Return the page of a report, complete with its pictures."""
    pictures = {
        "comparison": {
            width: _data_uri(
                comparison_svg(list(model.curves), model.allowed, unit=model.unit, narrow=width == "narrow")
            )
            for width in ("wide", "narrow")
        },
        "clocks": [_clock_pictures(model, i) for i in range(len(model.details))],
    }
    page: str = (
        _environment()
        .get_template("report.html")
        .render(model=model, pictures=pictures, cautions=words.CAUTIONS, law=words.ODOMETER_LAW, method=words.METHOD)
    )
    return words.glued(page)


def _clock_pictures(model: ReportModel, index: int) -> dict[str, str] | None:
    """Return the clock match of one drive, or None when its readings carry no times."""
    detail = model.details[index]
    if not detail.has_clock_match:
        return None
    look = BEFORE if detail.name.startswith("before") else AFTER
    return {
        width: _data_uri(clock_match_svg(detail.calibration, unit=model.unit, drawn_as=look, narrow=width == "narrow"))
        for width in ("wide", "narrow")
    }


def _data_uri(svg: bytes) -> str:
    return "data:image/svg+xml;base64," + base64.b64encode(svg).decode()


@lru_cache(maxsize=1)
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    options: dict[str, Any] = {"trim_blocks": True, "lstrip_blocks": True, "undefined": StrictUndefined}
    return Environment(loader=PackageLoader("speedcal.report"), autoescape=True, **options)
