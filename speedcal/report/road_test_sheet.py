"""The sheet that a passenger fills in, and the table it is typed into."""

from __future__ import annotations

from typing import TYPE_CHECKING

from speedcal.report.typesetting import typeset
from speedcal.text.pages import road_test_sheet as text
from speedcal.units import SPEED_UNIT_MPS

if TYPE_CHECKING:
    from speedcal.conformity import RoadTestPlan

_COLUMNS = {
    "mph": "hold,time hh:mm:ss,indicated mph,odometer mi",
    "km/h": "hold,time hh:mm:ss,indicated km/h,odometer km",
}


def render_template(plan: RoadTestPlan) -> str:
    """Return the table to type the readings into, as CSV that :func:`speedcal.read_readings` reads when filled in.

    One line a reading, in the order of the plan; lines without a reading may stay empty. Where the needle is held on
    marks it says that nothing is rounded.
    """
    factor = SPEED_UNIT_MPS[plan.unit]
    lines = [*([] if plan.by_gps else ["# rounding: exact"]), _COLUMNS[plan.unit]]
    for plateau in plan.plateaus:
        lines += [f"{plateau.mark_mps / factor:.0f},,,"] * plateau.readings
    return "\n".join(lines) + "\n"


def render_sheet(plan: RoadTestPlan, *, number: str = "", shop: str = "") -> bytes:
    """Return the sheet as a PDF of one page: cautions, holds, blanks. The same plan gives the same bytes.

    The number of the job and the shop stand on top of it.
    """
    paper = "letter" if plan.unit == "mph" else "a4"
    return typeset("sheet", {**text.words(plan, number, shop), "paper": paper})
