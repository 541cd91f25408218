"""What stands on a sidewall: the forms in which a size is written, and their parts."""

from __future__ import annotations

import re
from typing import Literal

Form = Literal[
    "metric",
    "flotation",
    "numeric",
    "numeric with aspect",
    "old metric",
    "stated diameter",
    "letter",
    "motorcycle",
    "high pressure",
]

LONGEST = 60
"""Letters of a size; a longer text is none."""

_BUILT = r"(?P<built>[SHVZ]?R(?:F)?|[DB]|-)"
_INCHES = r"(?P<rim>\d{1,2}(?:\.[1-9])?)(?!\d)"
_RIM = rf"(?:{_INCHES}|(?P<rim_mm>[34]\d{{2}}))"
_WIDTH = r"(?P<width>[1-3]?\d(?:\.\d{1,2})?)"
_OLDER_NAME = r"(?:(?:(?<=\.\d)|(?<=\.\d\d))\s*[-/]\s*\d{1,2}(?:\.\d{1,2})?)?"
"""18.4/15-30: the second number is the width by an older count."""
_FORMS: tuple[tuple[Form, str], ...] = (
    ("stated diameter", rf"(?P<width>\d{{3}})\s*-\s*(?P<over>\d{{3}})\s*{_BUILT}\s*(?P<rim_mm>[34]\d{{2}})A?"),
    ("numeric with aspect", rf"{_WIDTH}\s*/\s*(?P<aspect>4[5-9]|[5-9]\d)\s*{_BUILT}\s*{_INCHES}"),
    ("numeric", rf"{_WIDTH}(?P<low>L)?{_OLDER_NAME}\s*{_BUILT}\s*{_INCHES}"),
    (
        "metric",
        rf"(?P<service>P|LT|ST|T|IF|VF)?\s*(?P<width>\d{{2,4}})\s*[-/ ]\s*(?P<aspect>\d{{2,3}})\s*{_BUILT}\s*{_RIM}",
    ),
    (
        "flotation",
        r"(?P<service>LT|P|ST|AT)?\s*(?P<over>\d{2}(?:\.\d+)?)\s*X\s*(?P<width>\d{1,2}(?:\.\d+)?)"
        rf"\s*{_BUILT}\s*{_INCHES}",
    ),
    ("old metric", rf"(?P<service>P|LT|ST)?\s*(?P<width>[12]\d\d)\s*/?\s*{_BUILT}\s*{_RIM}"),
    ("letter", rf"(?P<letter>[A-HJLN])(?P<belted>R)?\s*(?P<aspect>78|70|60|50)\s*{_BUILT}\s*(?P<rim>1[3-6])"),
    ("motorcycle", r"(?P<letter>M[HJMNRTUV])\s*(?P<aspect>85|90)\s*(?P<built>[BR-])?\s*(?P<rim>1[5-9]|2[01])"),
    ("high pressure", r"(?P<over>\d{2})\s*X\s*(?P<width>[3-9](?:\.\d{1,2})?)"),
)
_MARKS = (
    r"XL|RF|SL|LL|HL|TL|TT|M/C|M\+S|M&S|EXTRA LOAD|REINFORCED|RUN FLAT|TUBELESS|TUBE TYPE|FRONT|REAR|"
    r"LOAD RANGE [A-N]|L\.?R\.? ?[A-N]|/[A-N]|\([A-N]\)|\d{1,2} ?PR|\d{1,2} ?PLY|"
    r"FI|NHS|NRO|CFO|IMP|[EFGILR]-?\d[WS]?|HF-?\d|[A-N]"
)
_TAIL = (
    r"\s*(?P<after>LT|ST|MH|C|P)?"
    r"(?:[ ,]*(?:\((?!Y\)))?(?P<load>\d{2,3}(?:/\d{2,3})?)?\s*"
    r"(?P<speed>\(Y\)|A[1-8](?:/\d{0,3}B)?|[A-HJ-NP-WYZ])?\)?)??"
    rf"(?P<marks>(?:[ ,]*(?:{_MARKS})){{0,4}})"
    r"(?:[ ,]*\((?P<late_load>\d{2,3}(?:/\d{2,3})?)\s*(?P<late_speed>[A-HJ-NP-WYZ])\))?\s*"
)
_MOTORCYCLE_WIDTHS_MM, _MOTORCYCLE_ASPECTS = range(70, 151), range(80, 101)
"""Sizes of which one with a hyphen is likelier bias-ply than a car's radial, where somebody left out the letter."""


def read_sidewall(text: str) -> tuple[Form, dict[str, str]] | None:
    """Return the form of a size and its parts as printed; None when it is in none of the forms."""
    if len(text) > LONGEST:
        return None
    plain = _as_printed(text)
    for form, pattern in _FORMS:
        match = re.fullmatch(pattern + _TAIL, plain)
        if match:
            part = {name: value or "" for name, value in match.groupdict().items()}
            part["load"], part["speed"] = (part[name] or part[f"late_{name}"] for name in ("load", "speed"))
            return form, part
    return None


def _as_printed(text: str) -> str:
    """Return a size as a sidewall prints it: people leave out points and put other signs between the numbers."""
    plain = " ".join(text.upper().replace("×", "X").replace("”", "").replace('"', "").replace("–", "-").split())
    plain = re.sub(r"(?<=\d),(?=\d)", ".", plain)
    plain = re.sub(r" ?\((?:\d[\d./]*[-R]\d+|NRO|CFO|NHS)\)", "", plain)  # 18.4R34 (460/85R34): its other name
    plain = re.sub(r" 1/2(?!\d)", ".5", plain)
    plain = re.sub(r"(?<=\d) ?-? ?R ?-? ?(?=\d)", "R", plain)  # 235/75-R15, 235/75R-15
    # 205-55-16, 205/55/16, 205 55 16
    plain = re.sub(
        r"^((?:LT|P|ST)?) ?(\d{3})(?:/(\d{2})[/ ]|[- ](\d{2})[-/ ])(\d{2}(?:\.5)?)(?![\d.])", _without_letter, plain
    )
    # 31-10.50-15, 33 12.50 15, 31x10.50x15
    plain = re.sub(
        r"^((?:LT)?) ?(\d{2}(?:\.\d)?)(?:[-/ ](\d{1,2}\.\d{1,2})[-/ ]|X(\d{1,2}\.\d{1,2})[X/ ])(\d{2})(?!\d)",
        lambda found: f"{found[1]}{found[2]}X{found[3] or found[4]}R{found[5]}",
        plain,
    )
    # hundredths of an inch without the point: 750R16, 1000-20, 700x15; 350-18 of a motorcycle
    rim = r"(?:[489]|1\d|2[0-5])(?!\d)"
    plain = re.sub(rf"^([4-9]|1\d|2[0-4])(\d[05])(?= ?[-RX] ?{rim})", r"\1.\2", plain)
    plain = re.sub(r"^([23])(25|50|75|00)(?=-(?:1[6-9]|2[01])(?!\d))", r"\1.\2", plain)
    # 7.50x16, H70x15
    return re.sub(r"^(\d{1,2}\.\d{1,2}|[A-HJLN]R?\d{2}) ?X ?(?=\d{2}(?:\.5)?(?:LT|ST|C|[ ,]|$))", r"\1-", plain)


def _without_letter(found: re.Match[str]) -> str:
    """Return a metric size of which somebody wrote the numbers only."""
    width, aspect = int(found[2]), int(found[3] or found[4])
    built = "-" if width in _MOTORCYCLE_WIDTHS_MM and aspect in _MOTORCYCLE_ASPECTS else "R"
    return f"{found[1]}{width}/{aspect}{built}{found[5]}"
