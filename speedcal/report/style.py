"""Colours, line styles and fonts of everything that is drawn, chosen to survive black-and-white print.

What colour says is said again by line style, marker and hatching. Luminance (0 black, 1 white) falls from the band
of the tolerance over the drive before to the drive after, so that the three stay apart in grey.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from speedcal.report import fonts

INK = "#1f2429"
QUIET = "#58616a"
RULE = "#c3c8cc"
PAPER = "#ffffff"
ALLOWED = "#e8edc9"
ALLOWED_EDGE = "#7a8450"


@dataclass(frozen=True, slots=True)
class DriveStyle:
    """How one drive is drawn."""

    color: str
    tint: str
    line: Any
    marker: str
    hollow: bool
    hatch: str
    width: float


BEFORE = DriveStyle("#b5532a", "#f3d9cb", (0, (5, 2)), "o", True, "////", 1.8)
AFTER = DriveStyle("#1d3f72", "#b9c9e2", "-", "s", False, "", 2.4)

_SETTINGS: dict[str, Any] = {
    "font.family": [fonts.FAMILY],
    "font.size": 9.0,
    "svg.fonttype": "path",
    "svg.hashsalt": "speedcal",
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "text.color": INK,
    "text.parse_math": False,
    "text.usetex": False,
    "xtick.color": QUIET,
    "ytick.color": QUIET,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "hatch.linewidth": 0.5,
    "figure.dpi": 72,
    "axes.unicode_minus": True,
}


@contextmanager
def drawing() -> Iterator[None]:
    """Set what is drawn under, whatever the settings of whoever calls are."""
    from matplotlib import rc_context, rcParamsDefault

    defaults = {key: value for key, value in rcParamsDefault.items() if not key.startswith("backend")}
    settings: Any = {**defaults, **_SETTINGS}
    with rc_context(settings):
        yield
