"""Two people at one form: what the form showed goes with it, so that the second learns what the first has changed."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping

Change = tuple[str, str, str]
"""What somebody changed, by its name; what it was when the form was opened; what it is now."""


def seen_text(texts: Mapping[str, str]) -> str:
    """Return what a form shows, for a hidden field of it."""
    return json.dumps({name: text for name, text in texts.items() if text}, ensure_ascii=False)


def seen_in(text: str) -> dict[str, str] | None:
    """Return what a form showed, or None when it does not say."""
    try:
        seen = json.loads(text)
    except ValueError:
        return None
    return {str(name): str(value) for name, value in seen.items()} if isinstance(seen, dict) else None


def changed_names(seen: Mapping[str, str], now: Mapping[str, str], names: Iterable[str]) -> list[str]:
    """Return the names of what is no longer as the form showed it."""
    return [name for name in names if seen.get(name, "") != now.get(name, "")]


def changes(text: str, now: Mapping[str, str], labels: Mapping[str, str]) -> list[Change]:
    """Return what changed since a form was opened, by the labels of what it shows.

    Parameters
    ----------
    text
        The hidden field.
    now
        What the form would show now; ``version`` counts every change, also one that does not show.
    labels
        What to call it.
    """
    seen = seen_in(text)
    if seen is None or seen.get("version") == now.get("version"):
        return []
    return [(labels[n], seen.get(n, ""), now.get(n, "")) for n in changed_names(seen, now, labels)] or [("", "", "")]
