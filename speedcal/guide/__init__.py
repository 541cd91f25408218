"""The reference: pages in Markdown, shown by ``speedcal guide`` and as the help of the upload page."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from importlib import resources
from types import MappingProxyType

_ORDER = (
    "drive", "files", "checks", "film", "job-file", "rules", "settings", "road-test", "trust", "limits", "fleet",
    "page", "commands", "python",
)  # fmt: skip
"""Pages in the order in which a reader meets them."""


@cache
def pages() -> MappingProxyType[str, str]:
    """Return every page by its topic, as Markdown without the marks for the tests."""
    folder = resources.files("speedcal.guide")
    texts = {topic: folder.joinpath(f"{topic}.md").read_text(encoding="utf-8") for topic in _ORDER}
    return MappingProxyType({topic: _without_marks(text) for topic, text in texts.items()})


def title(topic: str) -> str:
    """Return the heading of a page."""
    return pages()[topic].partition("\n")[0].removeprefix("# ")


def find(words: str) -> Iterator[tuple[str, str]]:
    """Yield the topic and the line, without its marks, of every line that has all the words, whatever their case."""
    wanted = words.lower().split()
    for topic, text in pages().items():
        for line in map(_plain, text.splitlines()):
            if wanted and all(word in line.lower() for word in wanted):
                yield topic, line


def _plain(line: str) -> str:
    """Return a line without the marks of Markdown, the cells of a table with a dot between."""
    words = re.sub(r"^\s*(#+|-) |[`*]", "", line)
    return " · ".join(cell.strip() for cell in words.split("|") if cell.strip())


def _without_marks(text: str) -> str:
    lines = [line for line in text.splitlines() if not (line.startswith("<!--") and line.endswith("-->"))]
    return "\n".join(lines).rstrip() + "\n"
