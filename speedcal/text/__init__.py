"""Every sentence for people: codes and values of the rooms below become words here, for command, page and report.

A room below never holds a sentence. ``REFUSALS`` and ``FINDINGS`` of the modules in ``codes`` map a code to its
words; a template's fields are formatted by :mod:`speedcal.text.words.numbers` (``{offset_mps:speed}``).
"""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from typing import Any


class _Words:
    """Loads the rooms of words when the first sentence is asked for, so that ``import speedcal`` costs nothing."""

    def refusal(self, code: str, values: Mapping[str, Any]) -> tuple[str, str]:
        return _messages().refusal(code, values)  # type: ignore[no-any-return]

    def finding(self, code: str, values: Mapping[str, Any]) -> str:
        return _messages().finding(code, values)  # type: ignore[no-any-return]

    def summary(self, result: object) -> str:
        return importlib.import_module("speedcal.text.phrases").summary(result)  # type: ignore[no-any-return]


def _messages() -> Any:
    return importlib.import_module("speedcal.text.messages")


WORDS = _Words()
