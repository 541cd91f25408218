"""Regular expressions that are compiled when they are first used: a file needs few of those that there are."""

from __future__ import annotations

import re
from typing import Any, cast


class _LatePattern:
    """What a compiled expression is, and compiled when anything of it is asked for."""

    def __init__(self, pattern: str, flags: int) -> None:
        self.pattern, self._flags = pattern, flags

    def __getattr__(self, name: str) -> Any:
        compiled = re.compile(self.pattern, self._flags)
        for method in ("match", "fullmatch", "search", "sub", "split", "findall", "finditer"):
            setattr(self, method, getattr(compiled, method))  # found at once from now on
        return getattr(compiled, name)


def late_pattern(pattern: str, flags: int = 0) -> re.Pattern[str]:
    """Return a regular expression that is compiled when it is first used."""
    return cast("re.Pattern[str]", _LatePattern(pattern, flags))
