"""Typesetting: data and a template become a page, tagged for screen readers, the same bytes every time."""

from __future__ import annotations

import json
import re
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from functools import lru_cache
from importlib import resources
from typing import Any, Literal

from speedcal.report import fonts
from speedcal.text.words.names import glued, one_line

Paper = Literal["a4", "letter"]
PageKind = Literal["pdf", "png", "svg"]
_UNBROKEN = re.compile(r"[^\s\u200b-]{24}(?=[^\s\u200b-])")
_STANDARD = "ua-1"
"""PDF/UA-1 (ISO 14289-1): the typesetter refuses a page that a screen reader could not read."""


def typeset(
    template: str,
    data: Mapping[str, Any],
    *,
    pictures: Mapping[str, bytes] | None = None,
    kind: PageKind = "pdf",
    dots_per_inch: float = 144.0,
) -> bytes:
    """Return a page.

    Parameters
    ----------
    template
        Name of the template, without ``.typ``.
    data
        What it says, ready for JSON; letters that no font has are replaced by a note of how many they are.
    pictures
        SVG files by the name that the template gives them.
    """
    import typst

    said = _prepared(data)
    families, files = fonts.needed("".join(_strings(said)))
    job: dict[str, bytes] = {
        "main.typ": _template(template),
        "page.typ": _template("page"),
        "data.json": json.dumps({**said, "fonts": families}, ensure_ascii=False).encode(),
        **(pictures or {}),
    }
    with tempfile.TemporaryDirectory() as folder:  # fonts are given by the folder
        for file in files:
            shutil.copy(file, folder)
        typesetter: Any = typst.compile  # its types leave out the documents given by name
        made: bytes = typesetter(
            job,
            font_paths=typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[folder]),
            format=kind,
            ppi=dots_per_inch,
            pdf_standards=[_STANDARD] if kind == "pdf" else [],
            timestamp=0,
        )
    return made


@lru_cache(maxsize=8)
def _template(name: str) -> bytes:
    return resources.files("speedcal.report").joinpath(f"templates/{name}.typ").read_bytes()


def _prepared(value: Any) -> Any:
    """Return data whose texts are single lines, printable, with places where an endless word may break."""
    if isinstance(value, Mapping):
        return {key: _prepared(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_prepared(item) for item in value]
    if isinstance(value, str):
        return _UNBROKEN.sub("\\g<0>\u200b", glued(fonts.printable(one_line(value))))
    return value


def _strings(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for item in value.values():
            yield from _strings(item)
    elif isinstance(value, list):
        for item in value:
            yield from _strings(item)
