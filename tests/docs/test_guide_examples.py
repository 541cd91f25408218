"""Every example of the guide is run, and prints what the page shows."""

from __future__ import annotations

from pathlib import Path

import pytest
from support import documents as doc


@pytest.mark.parametrize("path", sorted(doc.GUIDE.glob("*.md")), ids=lambda path: path.stem)
def test_the_examples_of_a_page_run_and_print_what_it_shows(path: Path, tmp_path: Path) -> None:
    """Run tests/docs/refresh.py to bring what they print up to date."""
    folder = doc.copy_of_the_demo(tmp_path)
    for block, last in doc.walk(path.read_text(encoding="utf-8"), folder):
        if last and last.block is block:
            assert last.status == 0, f"{block.text}{last.remarks}"
        elif block.marker == "printed":
            assert last is not None
            assert doc.same_print(block.text, last.printed), last.printed
