"""Numbers as people type them into a form: one reader for every field, and a question where a number is two."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Literal

Decimal = Literal[",", "."]
_BLANKS = re.compile(r"(?<=\d)[ \u00a0\u202f'’](?=\d{3}(?!\d))")
_PLAIN = re.compile(r"[+-]?(?:\d{1,20}(?:\.\d{0,20})?|\.\d{1,20})")
_GROUPED = re.compile(r"[+-]?[1-9]\d{0,2}(?:(?P<mark>[.,])\d{3})(?:(?P=mark)\d{3})*(?P<rest>[.,]\d{1,20})?")


class AmbiguousError(ValueError):
    """A number that is a thousand to one reader and has three decimals to another."""


def decimal_mark(texts: Iterable[str]) -> Decimal | None:
    """Return the decimal mark that the clear numbers among some texts are written with; None when they do not tell."""
    marks: set[Decimal] = {mark for text in texts for word in text.split() if (mark := _mark_of(word))}
    return marks.pop() if len(marks) == 1 else None


def _mark_of(word: str) -> Decimal | None:
    text = word.strip(";")
    found = _GROUPED.fullmatch(text)
    if found:
        several = found["rest"] or text.count(found["mark"]) > 1
        return None if not several else "." if found["mark"] == "," else ","
    clear = re.fullmatch(r"[+-]?\d+([.,])\d+", text)
    return ("," if clear[1] == "," else ".") if clear else None


def number_in(text: str, decimal: Decimal | None = None) -> float | int:
    """Return the number that a person typed.

    Parameters
    ----------
    text
        One number; thousands may be grouped by blanks, apostrophes, commas or points.
    decimal
        The decimal mark used elsewhere in the same form, when that is known.

    Raises
    ------
    AmbiguousError
        One comma before three digits, and nothing tells whether it is a decimal comma.
    ValueError
        It is no number.
    """
    word = _BLANKS.sub("", text.strip())
    found = _GROUPED.fullmatch(word)
    if found and _is_grouped(word, found, decimal):
        word = word.replace(found["mark"], "")
    word = word.replace(",", ".")
    if not _PLAIN.fullmatch(word):
        raise ValueError(text)
    number = float(word)
    return int(number) if number == int(number) else number


def _is_grouped(word: str, found: re.Match[str], decimal: Decimal | None) -> bool:
    mark, rest = found["mark"], found["rest"]
    if rest:
        return not rest.startswith(mark)
    if word.count(mark) > 1:
        return True
    if decimal is None and mark == ",":
        raise AmbiguousError
    return decimal is not None and mark != decimal
