"""Text in a table that a spreadsheet opens."""

from __future__ import annotations

from typing import TypeVar

_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")
"""What a spreadsheet takes for the beginning of a formula, or may once it has cut off white space."""

Cell = TypeVar("Cell")


def as_text(cell: Cell) -> Cell | str:
    """Return a cell, with an apostrophe in front where a spreadsheet would run what is only a name; numbers stay.

    References
    ----------
    .. [1] OWASP Foundation, "CSV Injection," https://owasp.org/www-community/attacks/CSV_Injection

    Examples
    --------
    >>> from speedcal.jobs.spreadsheet import as_text
    >>> [as_text(cell) for cell in ("=1+2", "van 7", -1.5)]
    ["'=1+2", 'van 7', -1.5]
    """
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(_FORMULA) else cell
