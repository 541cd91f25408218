"""Text that fits: measured with the font it is drawn in, wrapped, made smaller, cut only when nothing else helps."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache
from typing import Any

ELLIPSIS = "…"
_FINER = 200
"""Text is measured at this many pixels, because letters are moved to whole ones."""


@lru_cache(maxsize=1)
def _measurer() -> Any:
    from matplotlib.backends import backend_agg

    agg: Any = backend_agg
    return agg.RendererAgg(1, 1, 72)


def text_width(text: str, *, size: float, bold: bool = False) -> float:
    """Return the width of one line under the drawing settings now in force. [pt]."""
    from matplotlib import rcParams

    return size * _width_of_em(text, bold, tuple(rcParams["font.family"]))


@lru_cache(maxsize=20_000)
def _width_of_em(text: str, bold: bool, _families: tuple[str, ...]) -> float:
    """Return the width of one line in letters of size 1; it grows with the size, as outlines do."""
    from matplotlib.font_manager import FontProperties

    font = FontProperties(size=_FINER, weight="bold" if bold else "normal")
    width, _, _ = _measurer().get_text_width_height_descent(text, font, False)
    return float(width) / _FINER


def pieces(text: str) -> list[str]:
    """Cut a text where a line may end: after spaces and hyphens, and between East Asian wide letters."""
    out: list[str] = []
    for word in re.findall(r"[^ ]+ *", text):
        start = 0
        for i, c in enumerate(word[:-1]):
            if unicodedata.east_asian_width(c) in "WF" or c in "-/_‐–":
                out.append(word[start : i + 1])
                start = i + 1
        out.append(word[start:])
    return out


def wrap(text: str, *, width_pt: float, size: float, bold: bool = False) -> list[str]:
    """Break a text into lines no wider than ``width_pt``; a word that is wider itself is broken inside."""
    lines: list[str] = []
    line = ""
    for piece in pieces(text):
        if text_width((line + piece).rstrip(), size=size, bold=bold) <= width_pt:
            line += piece
            continue
        if line:
            lines.append(line.rstrip())
        line = piece
        while text_width(line.rstrip(), size=size, bold=bold) > width_pt and len(line) > 1:
            head = _head(line, width_pt, size, bold)
            lines.append(head)
            line = line[len(head) :]
    return [*lines, line.rstrip()] if line.strip() else lines


def _head(text: str, width_pt: float, size: float, bold: bool) -> str:
    low, high = 1, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        if text_width(text[:middle], size=size, bold=bold) <= width_pt:
            low = middle
        else:
            high = middle - 1
    return text[:low]


def fit_line(text: str, *, width_pt: float, size: float, least: float, bold: bool = False) -> tuple[str, float]:
    """Return a text and the font size at which it fits on one line, cut with an ellipsis only below ``least``."""
    width = text_width(text, size=size, bold=bold)
    if width <= width_pt:
        return text, size
    smaller = max(least, size * width_pt / width * 0.985)
    if text_width(text, size=smaller, bold=bold) <= width_pt:
        return text, smaller
    return _head(text, width_pt - text_width(ELLIPSIS, size=least, bold=bold), least, bold).rstrip() + ELLIPSIS, least


def cut(lines: list[str], most: int, *, width_pt: float, size: float, bold: bool = False) -> list[str]:
    """Return at most ``most`` lines, the last ending in an ellipsis when lines were left out."""
    if len(lines) <= most:
        return lines
    room = width_pt - text_width(ELLIPSIS, size=size, bold=bold)
    return [*lines[: most - 1], _head(lines[most - 1], room, size, bold).rstrip() + ELLIPSIS]
