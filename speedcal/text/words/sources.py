"""How well the source of a number is known, in words."""

from __future__ import annotations

_IN_FULL = {
    "verified": "read in the document itself",
    "secondary": "read in a text that quotes the document",
    "from memory": "not verified against the document",
    "own rule": "written for this job",
}
_IN_SHORT = {
    "verified": "read in the document",
    "secondary": "read in a secondary text",
    "from memory": "not verified",
    "stated": "stated for this plan",
}


def status_words(status: str) -> str:
    """Say how well the source of a rule is known."""
    return _IN_FULL.get(status, status)


def status_in_short(status: str) -> str:
    """Say how well any number is known, in two or three words; who only remembers it has not verified it."""
    return _IN_SHORT.get(status, status)
