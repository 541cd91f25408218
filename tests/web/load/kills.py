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


def main(uploads: int = 1000) -> int:
    """Kill and start again, and print what came of it."""
    database = os.environ.get("SPEEDCAL_DATABASE", "")
    with tempfile.TemporaryDirectory() as folder:
        options = ("--database", database) if database else ()
        kills, acknowledged, lost = kill_in_the_middle(
            Path(folder), 1, options=options, seed=uploads, uploads=uploads, longest_s=8
        )
    say(f"{kills} kills, {acknowledged} uploads acknowledged, {lost} lost")
    return 1 if lost or not acknowledged else 0


def say(line: str) -> None:
    """Write a figure."""
    sys.stdout.write(line + "\n")


if __name__ == "__main__":
    sys.exit(main(*(int(word) for word in sys.argv[1:2])))
