"""Kill the server in the middle of uploads until a thousand were acknowledged; each must be intact afterwards.

Run as ``python tests/web/load/kills.py [uploads]``; with ``SPEEDCAL_DATABASE`` set it does so on that database.
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1])]

from test_faults import kill_in_the_middle  # noqa: E402 - the tests' own helpers

_A_FOLDER = 400
"""No worker runs, and five hundred analyses may wait."""


def main(uploads: int = 1000) -> int:
    """Kill and start again, and print what came of it."""
    database = os.environ.get("SPEEDCAL_DATABASE", "")
    options = ("--database", database) if database else ()
    kills = acknowledged = lost = 0
    while acknowledged < uploads:
        with tempfile.TemporaryDirectory() as folder:
            found = kill_in_the_middle(
                Path(folder), 1, options=options, seed=acknowledged, uploads=min(_A_FOLDER, uploads), longest_s=8
            )
        kills, acknowledged, lost = kills + found[0], acknowledged + found[1], lost + found[2]
        say(f"{kills} kills, {acknowledged} uploads acknowledged, {lost} lost")
    return 1 if lost or not acknowledged else 0


def say(line: str) -> None:
    """Write a figure."""
    sys.stdout.write(line + "\n")


if __name__ == "__main__":
    sys.exit(main(*(int(word) for word in sys.argv[1:2])))
