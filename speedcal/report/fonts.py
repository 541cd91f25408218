"""Which fonts hold the letters of a text: the two that come with the program, others of this machine where need be."""

from __future__ import annotations

from functools import cache, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from speedcal.text.pages.pictures import letters_missing

if TYPE_CHECKING:
    from matplotlib.font_manager import FontEntry

FAMILY = "DejaVu Sans"
_FILES = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")
"""Shipped with matplotlib. Its folder as a whole also holds a last-resort font, whose boxes pass for letters."""


def needed(text: str) -> tuple[list[str], list[Path]]:
    """Return the families that together hold the letters of a text, the program's own first, and their files."""
    families, files = [FAMILY], [_folder() / name for name in _FILES]
    missing = _missing(text)
    for family, file in _others() if missing else ():
        found = missing & _letters(file)
        if found:
            families.append(family)
            files.append(file)
            missing -= found
        if not missing:
            break
    return families, files


def printable(text: str) -> str:
    """Replace runs of letters that no font on this machine has by a note that says so, instead of empty boxes."""
    missing = _missing(text)
    for _, file in _others() if missing else ():
        missing -= _letters(file)
    if not missing:
        return text
    out: list[str] = []
    run = 0
    for c in [*text, ""]:
        if c in missing:
            run += 1
            continue
        if run:
            out.append(letters_missing(run))
            run = 0
        out.append(c)
    return "".join(out)


def _missing(text: str) -> set[str]:
    known = _letters(_folder() / _FILES[0])
    return {c for c in text if c not in known and not c.isspace()}


@cache
def _folder() -> Path:
    import matplotlib as mpl

    return Path(mpl.get_data_path()) / "fonts" / "ttf"


@lru_cache(maxsize=64)
def _letters(file: Path) -> frozenset[str]:
    from matplotlib.ft2font import FT2Font

    return frozenset(map(chr, FT2Font(str(file)).get_charmap()))


@cache
def _others() -> tuple[tuple[str, Path], ...]:
    """Return the other upright families of this machine and their files, outlines that embed best first."""
    from matplotlib.font_manager import fontManager

    def rank(entry: FontEntry) -> tuple[bool, bool, str]:
        return (not entry.fname.lower().endswith(".ttf"), "Sans" not in entry.name, entry.name)

    upright = [e for e in fontManager.ttflist if e.style == "normal" and str(e.weight) in ("400", "normal", "regular")]
    found: dict[str, Any] = {}
    for entry in sorted(upright, key=rank):
        if entry.name.startswith(("DejaVu", "STIX", "cm", "Last Resort")) or "Emoji" in entry.name:
            continue
        if Path(entry.fname).suffix.lower() in (".ttf", ".ttc", ".otf"):
            found.setdefault(entry.name, Path(entry.fname))
    return tuple(found.items())
