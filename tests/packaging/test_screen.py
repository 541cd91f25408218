"""What the command writes on a screen, and into a file."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest
from support.web_site import DEMO

from speedcal.cli import main
from speedcal.cli._screen import folded, tell

CALL = ["calibrate", *(str(DEMO / f"before{end}") for end in (".gpx", "_notes.csv"))]


def test_lines_are_folded_between_words_and_a_number_keeps_its_sign() -> None:
    """What goes on stands further in than where the line began; a short line stays as it is."""
    text = "one\n  1. Fit a driven gear with 22 teeth: leaves at most 15.6 % of it"
    assert folded(text, 42) == "one\n  1. Fit a driven gear with 22 teeth:\n    leaves at most 15.6 % of it"
    assert folded("the worst error that this choice leaves 5 %", 41).endswith("\n  5 %")
    assert folded("  row              worst  5.6 %", 40) == "  row              worst  5.6 %"


def test_what_drives_a_terminal_is_not_written(capsys: pytest.CaptureFixture[str]) -> None:
    """A file of a stranger may be named so; a screen would take it for orders. Tabs and lines stay."""
    tell("a\x1b]0;name\x07b\x9b2J\tc\nd − 5\u00a0%")
    assert capsys.readouterr().out == "a]0;nameb2J\tc\nd − 5\u00a0%\n"


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminal there")
def test_no_word_is_cut_on_a_screen_of_eighty_columns_and_a_file_has_a_sentence_a_line(
    capfd: pytest.CaptureFixture[str],
) -> None:
    """The words are the same."""
    import pty

    near, far = pty.openpty()
    env = {**os.environ, "COLUMNS": "80"}
    with subprocess.Popen(
        [sys.executable, "-m", "speedcal", *CALL], stdout=far, stdin=subprocess.DEVNULL, env=env
    ) as running:
        os.close(far)
        seen = bytearray()
        while True:
            try:
                part = os.read(near, 4096)
            except OSError:  # the other end is closed
                break
            if not part:
                break
            seen += part
    os.close(near)
    shown = seen.decode("utf-8").replace("\r\n", "\n")
    assert running.returncode == 0
    with pytest.raises(SystemExit, match="0"):
        main(CALL)
    written = capfd.readouterr().out
    assert max(map(len, shown.splitlines())) <= 80 < max(map(len, written.splitlines()))
    assert shown.split() == written.split()
