"""Numbers written out in other languages than English: ``achtundvierzig``, ``quatre-vingt-huit``, ``cento sei``."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cache, partial
from importlib import resources
from typing import Any

from speedcal.logs.writing.patterns import late_pattern

_FEWEST_LINES, _MOST_LINES, _LEAST, _LARGE = 4, 1_000, 10, 20
_WORD = late_pattern(r"[^\W\d_]{3}")
_LETTER_PAIRS = {"ß": "ss", "æ": "ae", "œ": "oe"}
_Language = Mapping[str, Any]


def in_figures_abroad(lines: Sequence[tuple[int, str]]) -> Sequence[tuple[int, str]]:
    """Return the lines with numbers of one language in figures, where several lines have one of 20 and more."""
    enough = min(_FEWEST_LINES, len(lines))
    if len(lines) > _MOST_LINES or sum(1 for _, text in lines if _WORD.search(text)) < enough:
        return lines
    plain = [_plain(text) for _, text in lines]
    best: list[str] = []
    most = 0
    for language in _languages():
        pattern, values = _words(language)
        found = [list(pattern.finditer(text)) for text in plain]
        large = sum(any(_value(item, values) >= _LARGE for item in items) for items in found)
        covered = sum(len(item[0]) for items in found for item in items)
        if large >= enough and covered > most:
            most = covered
            best = [
                pattern.sub(partial(_figures, values=values), text) if items else ""
                for text, items in zip(plain, found, strict=True)
            ]
    if not best:
        return lines
    return [(number, figures or text) for (number, text), figures in zip(lines, best, strict=True)]


def _plain(text: str) -> str:
    text = "".join(_LETTER_PAIRS.get(letter, letter) for letter in text.lower())
    bare = "".join(letter for letter in unicodedata.normalize("NFD", text) if not unicodedata.combining(letter))
    return re.sub(r"(?<=[a-z])[-‐‑](?=[a-z])", " ", bare)


def _figures(found: re.Match[str], values: dict[str, int]) -> str:
    """Return a number in figures; one below ten may be an article, and stays."""
    value = _value(found, values)
    return str(value) if value >= _LEAST else found[0]


def _value(found: re.Match[str], values: dict[str, int]) -> int:
    return (100 if found["hundred"] else 0) + (values[found["rest"]] if found["rest"] else 0)


@cache
def _languages() -> dict[str, _Language]:
    text = resources.files("speedcal").joinpath("data/number_words.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@cache
def _words(name: str) -> tuple[re.Pattern[str], dict[str, int]]:
    """Return what finds the numbers of a language below 200, and those below 100 by their words."""
    language = _languages()[name]
    values = {word: value for value in range(1, 100) for word in _ways(language, value)}
    rest = "|".join(sorted(map(re.escape, values), key=len, reverse=True))
    return late_pattern(rf"\b(?=[a-z])(?:(?P<hundred>{language['hundred']}) ?)?(?P<rest>{rest})?\b(?<=[a-z])"), values


def _ways(language: _Language, value: int) -> Iterator[str]:
    """Yield the ways to say a number below 100."""
    small, tens = language["small"].split(), language["tens"].split()
    below_100 = _JOINED[language["by"]]
    words = [small[value]] if value < _LARGE else below_100(small, tens, value, language["joint"])
    for word in words:
        alike = [word.replace(usual, said) for said, usual in language.get("other", {}).items()]
        yield from (way.replace("_", " ") for way in dict.fromkeys([word, *alike]))


def _unit_first(small: Sequence[str], tens: Sequence[str], value: int, joint: str) -> list[str]:
    ten = tens[value // 10 - 2]
    return [f"{small[value % 10]}{joint}{ten}" if value % 10 else ten]


def _run_together(small: Sequence[str], tens: Sequence[str], value: int, joint: str) -> list[str]:
    """Return an Italian number, whose tens lose their last vowel before one and eight."""
    ten, unit = tens[value // 10 - 2], value % 10
    return [f"{ten[:-1] if unit in (1, 8) else ten}{joint}{small[unit]}" if unit else ten]


def _tens_first(small: Sequence[str], tens: Sequence[str], value: int, joint: str) -> list[str]:
    ten = tens[value // 10 - 2]
    return [f"{ten}{joint.replace(' ', '_')}{small[value % 10]}" if value % 10 else ten]


def _twenties(small: Sequence[str], tens: Sequence[str], value: int, joint: str) -> list[str]:
    """Return a French number; in France those from 70 and 90 on are counted from 60 and 80."""
    ten, unit = divmod(value, 10)
    ways = [(tens[ten - 2], unit), *([(tens[ten - 3], unit + 10)] if ten in (7, 9) else [])]
    return [
        word if not rest else f"{word}{joint if rest in (1, 11) and '_' not in word else ' '}{small[rest]}"
        for word, rest in ways
    ]


_JOINED: dict[str, Callable[[Sequence[str], Sequence[str], int, str], list[str]]] = {
    "unit_first": _unit_first,
    "run_together": _run_together,
    "tens_first": _tens_first,
    "twenties": _twenties,
}
