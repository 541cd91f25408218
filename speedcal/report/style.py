"""Colours, line styles and fonts of everything that is drawn, chosen to survive black-and-white print.

What colour says is said again by line style, marker and hatching. Luminance (0 black, 1 white) falls from the band
of the tolerance over the drive before to the drive after, so that the three stay apart in grey.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.font_manager import FontEntry

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
    "font.size": 9.0,
    "pdf.fonttype": 42,
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
def drawing(*texts: str) -> Iterator[None]:
    """Set what is drawn under, with fonts for every letter in ``texts`` that some font here has.

    A fallback font without a bold face is used as it is; matplotlib's note about that is no news to the user.
    """
    from matplotlib import rc_context, rcParamsDefault

    notes = logging.getLogger("matplotlib.font_manager")
    level = notes.level

    defaults = {key: value for key, value in rcParamsDefault.items() if not key.startswith("backend")}
    settings: Any = {**defaults, **_SETTINGS, "font.family": font_families("".join(texts))}
    notes.setLevel(logging.ERROR)
    try:
        with rc_context(settings):
            yield
    finally:
        notes.setLevel(level)


def font_families(text: str) -> list[str]:
    """Return the families that together hold the letters of ``text``: matplotlib's own, then others."""
    families = ["DejaVu Sans"]
    missing = {c for c in text if ord(c) not in _letters_of_default() and not c.isspace()}
    for family, letters in _other_fonts() if missing else ():
        found = {c for c in missing if ord(c) in letters()}
        if found:
            families.append(family)
            missing -= found
        if not missing:
            break
    return families


def printable(text: str) -> str:
    """Replace runs of letters that no font on this machine has by a note that says so, instead of empty boxes."""
    if all(ord(c) in _letters_of_default() or c.isspace() for c in text):
        return text
    families = font_families(text)
    others = [letters() for family, letters in _other_fonts() if family in families[1:]]
    known = [_letters_of_default(), *others]
    out: list[str] = []
    run = 0
    for c in [*text, ""]:
        if c and not c.isspace() and not any(ord(c) in letters for letters in known):
            run += 1
            continue
        if run:
            out.append(f"[{run} {'letter' if run == 1 else 'letters'} no font here has]")
            run = 0
        out.append(c)
    return "".join(out)


@lru_cache(maxsize=1)
def _letters_of_default() -> frozenset[int]:
    from matplotlib.font_manager import FontProperties, findfont, get_font

    return frozenset(get_font(findfont(FontProperties(family="DejaVu Sans"))).get_charmap())


@lru_cache(maxsize=1)
def _other_fonts() -> tuple[tuple[str, Any], ...]:
    """Return the other upright families of this machine with a way to their letters, outlines that embed best first."""
    from matplotlib.font_manager import fontManager, get_font

    def rank(entry: FontEntry) -> tuple[bool, bool, str]:
        return (not entry.fname.lower().endswith(".ttf"), "Sans" not in entry.name, entry.name)

    upright = [e for e in fontManager.ttflist if e.style == "normal" and str(e.weight) in ("400", "normal", "regular")]
    found: dict[str, Any] = {}
    for entry in sorted(upright, key=rank):
        if (
            entry.name in found
            or entry.name.startswith(("DejaVu", "STIX", "cm", "Last Resort"))
            or "Emoji" in entry.name
        ):
            continue
        if Path(entry.fname).suffix.lower() not in (".ttf", ".ttc", ".otf"):
            continue
        found[entry.name] = lru_cache(maxsize=1)(lambda name=entry.fname: frozenset(get_font(name).get_charmap()))
    return tuple(found.items())
