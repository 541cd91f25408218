"""The one hook through which rooms below ``text`` get their sentences; ``text`` registers itself on import."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Protocol


class Words(Protocol):
    """What turns codes and values into sentences for people."""

    def refusal(self, code: str, values: Mapping[str, Any]) -> tuple[str, str]:
        """Return what is wrong and what to do about it, each one sentence without its full stop."""

    def finding(self, code: str, values: Mapping[str, Any]) -> str:
        """Return the sentence of a finding, a reason or a note, with its full stop."""

    def summary(self, result: object) -> str:
        """Return the few lines that ``str(result)`` shows."""


_registered: list[Words] = []


def use_words(words: Words) -> None:
    """Register who makes the sentences from now on."""
    _registered[:] = [words]


def words() -> Words:
    """Return who makes the sentences.

    Raises
    ------
    RuntimeError
        Nobody is registered; ``import speedcal`` registers.
    """
    if not _registered:
        raise RuntimeError("no words are registered; import speedcal first")
    return _registered[0]


class Spoken:
    """A result, of which ``str()`` shows the few lines that it comes to."""

    __slots__ = ()

    def __str__(self) -> str:
        return words().summary(self)
