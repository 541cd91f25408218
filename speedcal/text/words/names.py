"""What users typed, made fit for a heading or a line of print."""

from __future__ import annotations

import re
import unicodedata

_OVERRIDES = ("LRO", "RLO", "LRE", "RLE", "PDF", "LRI", "RLI", "FSI", "PDI")
_UNIT_AFTER_NUMBER = re.compile(r"(?<=\d) (?=(?:%|mph|km/h|mm|in)(?!\w))")


def one_line(text: str) -> str:
    """Return a text without line breaks, control letters and overrides of direction."""
    kept = (" " if unicodedata.category(c) in ("Cc", "Zl", "Zp") else c for c in text)
    return " ".join("".join(c for c in kept if unicodedata.bidirectional(c) not in _OVERRIDES).split())


def shortened(text: str, most: int) -> str:
    """Return a text of at most so many letters, ending in an ellipsis where it was cut."""
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def capital(text: str) -> str:
    """Return a text as the beginning of a sentence."""
    return text[:1].upper() + text[1:]


def glued(text: str) -> str:
    """Return a text in which no line can end between a number and its unit."""
    return _UNIT_AFTER_NUMBER.sub("\u00a0", text)
