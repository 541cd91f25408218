"""Findings and words of trust: codes with values, without a sentence in them."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from speedcal.wording import Spoken, words

_DIGITS = 6


def json_ready(value: Any) -> Any:
    """Return a value of a finding or an error as JSON can hold it; numbers are rounded, so that bytes repeat."""
    if isinstance(value, Mapping):
        return {str(key): json_ready(item) for key, item in value.items()}
    if hasattr(value, "to_dict"):
        return value.to_dict()
    if hasattr(value, "tolist"):  # numpy's arrays and numbers
        return json_ready(value.tolist())
    if isinstance(value, (list, tuple, set, frozenset)):
        return [json_ready(item) for item in (sorted(value) if isinstance(value, (set, frozenset)) else value)]
    if isinstance(value, float):
        return round(value, _DIGITS) + 0.0 if math.isfinite(value) else None
    if isinstance(value, (bool, int, type(None))):
        return value
    return str(value)


@dataclass(frozen=True, init=False)
class Finding:
    """Something the analysis noticed and the user should know.

    ``Finding("needle_offset", offset_mps=0.8, u_mps=0.2)``: the code is snake_case and has its words in
    :mod:`speedcal.text`; values are SI and carry their unit in their name.
    """

    code: str
    values: Mapping[str, Any] = field(hash=False)

    def __init__(self, code: str, /, **values: Any) -> None:
        object.__setattr__(self, "code", code)
        object.__setattr__(self, "values", values)

    @property
    def text(self) -> str:
        """The sentence for people."""
        return words().finding(self.code, self.values)

    def to_dict(self) -> dict[str, Any]:
        """Return ``code``, ``values`` and ``text``."""
        return {"code": self.code, "values": json_ready(self.values), "text": self.text}

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True, slots=True)
class Trust(Spoken):
    """How far a result can be trusted, in one fixed word, and the reasons against it, the weightiest first."""

    word: Literal["TRUSTED", "WEAK"]
    reasons: tuple[Finding, ...] = ()

    @property
    def codes(self) -> list[str]:
        """The codes of the reasons, in their order."""
        return [reason.code for reason in self.reasons]

    def without(self, codes: Collection[str]) -> Trust:
        """Return the trust once some doubts are settled."""
        reasons = tuple(reason for reason in self.reasons if reason.code not in codes)
        return Trust(self.word if reasons else "TRUSTED", reasons)


def codes_of(findings: Iterable[Finding]) -> set[str]:
    """Return the codes that occur."""
    return {finding.code for finding in findings}
