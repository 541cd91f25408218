"""The report as one HTML file: nothing fetched, readable on a phone, on a desk and on paper."""

from __future__ import annotations

import base64
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from speedcal.report.charts import Pictures
from speedcal.report.model import ReportModel
from speedcal.text.pages import report_for_customer as text
from speedcal.text.pages import report_for_tech as tech_text
from speedcal.text.words.names import glued

if TYPE_CHECKING:
    from jinja2 import Environment


def render_html(model: ReportModel, pictures: Pictures) -> str:
    """Return the page of a report, complete with its pictures."""
    page: str = (
        environment("speedcal.report")
        .get_template("report.html")
        .render(
            model=model,
            wide=_data_uri(pictures.wide),
            narrow=_data_uri(pictures.narrow),
            clocks=[_data_uri(svg) if svg else None for svg in pictures.clocks],
            narrow_clocks=[_data_uri(svg) if svg else None for svg in pictures.narrow_clocks],
            text=text,
            tech_text=tech_text,
        )
    )
    return glued(page)


def _data_uri(svg: bytes) -> str:
    return "data:image/svg+xml;base64," + base64.b64encode(svg).decode()


@lru_cache(maxsize=2)
def environment(package: str) -> Environment:
    """Return what fills in the templates of a package."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    options: dict[str, Any] = {"trim_blocks": True, "lstrip_blocks": True, "undefined": StrictUndefined}
    return Environment(loader=PackageLoader(package), autoescape=True, **options)
