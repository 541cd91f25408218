"""Figures, marks and blanks of other scripts as those that every reader here knows."""

from __future__ import annotations

import unicodedata

_UNSEEN = frozenset("\u200b\u200c\u200d\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2060\u2066\u2067\u2068\u2069\ufeff")
"""Marks of direction and joining, which programs put around what they copy."""
_ALIKE = {"\u2212": "-", "㎞": "km", "٫": ".", "’": "'", **dict.fromkeys("\u00a0\u2007\u2009\u202f\u3000", " ")}
_FULL_WIDTH = range(0xFF01, 0xFF5F)
"""As wide as an ideograph, in the order of ASCII."""


def plain_characters(text: str) -> str:
    """Return text with the figures of every script as 0 to 9, and marks that are only drawn otherwise as usual."""
    if text.isascii():
        return text
    for character in set(text):
        plain = _plain(character)
        if plain != character:
            text = text.replace(character, plain)
    return text


def _plain(character: str) -> str:
    if character in _UNSEEN:
        return ""
    if ord(character) in _FULL_WIDTH:
        return chr(ord(character) - _FULL_WIDTH.start + ord("!"))
    figure = -1 if character.isascii() else unicodedata.decimal(character, -1)
    return str(figure) if figure >= 0 else _ALIKE.get(character, character)
