"""Kill the server fifty times in the middle of uploads; every acknowledged upload must be intact afterwards.

Run as ``python tests/web/load/kills.py [rounds]``; with ``SPEEDCAL_DATABASE`` set it does so on that database.
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1])]

from test_faults import kill_in_the_middle  # noqa: E402 - the tests' own helpers


def main(rounds: int = 50) -> int:
    """Run the rounds and print what came of them."""
    database = os.environ.get("SPEEDCAL_DATABASE", "")
    with tempfile.TemporaryDirectory() as folder:
        options = ("--database", database) if database else ()
        acknowledged, lost = kill_in_the_middle(Path(folder), rounds, options=options, seed=rounds)
    say(f"{rounds} kills, {acknowledged} uploads acknowledged, {lost} lost")
    return 1 if lost or not acknowledged else 0


def say(line: str) -> None:
    """Write a figure."""
    sys.stdout.write(line + "\n")


if __name__ == "__main__":
    sys.exit(main(*(int(word) for word in sys.argv[1:2])))
