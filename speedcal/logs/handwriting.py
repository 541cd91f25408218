"""What people do to notes: cross out, dictate, and let a camera read them."""

from __future__ import annotations

import re

_STRUCK = re.compile(r"~~.*?~~|(?:[^\s\u0335-\u0338][\u0335-\u0338]\s*)+")
_LETTER_FOR_DIGIT = re.compile(r"\d[oO](?![A-Za-z])|(?<![A-Za-z])[oOlI]+[.:]?\d|\d[:.]?[oOlI]+\d|:\d?[oOlI]")
"""6O, l5 and 7:l5: an o for a nought, an l for a one. ``20l`` may be of fuel."""
_IN_WORDS = re.compile(
    r"\b(?:twenty|thirty|forty|fifty|sixty|seventy|eighty|ninety|hundred)\b|\bhalf past\b|\bquarter (?:past|to)\b", re.I
)


def without_struck(text: str) -> str:
    """Return a line without what was crossed out in it, between tildes or with a stroke through each letter."""
    return _STRUCK.sub(" ", text)


def misread(text: str) -> str:
    """Return the code of what is written so that its figures cannot be told, empty where nothing is."""
    if _LETTER_FOR_DIGIT.search(text):
        return "letter_for_digit"
    return "numbers_in_words" if _IN_WORDS.search(text) else ""
