"""Bring up to date what the documents show of the program: printed results, generated tables, picture, notebooks.

Run it after a change that alters them: ``python tests/docs/refresh.py [--notebooks]``. The tests in this folder fail
when it was forgotten.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from support import documents as doc


def refresh_prints(path: Path) -> None:
    """Run the blocks of a document and put what they print below them."""
    text = path.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as name:
        folder = doc.copy_of_the_demo(Path(name))
        moved = 0
        original = text
        for block, last in doc.walk(original, folder):
            if last is not None and last.block is block and last.status:
                sys.stderr.write(f"{path.name}: {block.text}ended with {last.status}\n{last.remarks}\n")
            printed = last.printed if last is not None and block.marker == "printed" else None
            if block.marker == "printed by: main":
                main = doc.Block("", "sh", "speedcal report data_demo/job.toml --out result\n", 0)
                printed = doc.run_block(main, folder).printed
            if printed is not None:
                start = block.start + moved
                text = text[:start] + printed + text[start + len(block.text) :]
                moved += len(printed) - len(block.text)
    path.write_text(text, encoding="utf-8")


def refresh_picture() -> None:
    """Copy the picture of the demo job to where the README shows it."""
    with tempfile.TemporaryDirectory() as name:
        folder = doc.copy_of_the_demo(Path(name))
        done = doc.run_block(doc.Block("", "sh", "speedcal report data_demo/job.toml --out result\n", 0), folder)
        if done.status:
            raise SystemExit(done.remarks)
        shutil.copyfile(folder / "result" / "before_after.png", doc.PICTURE)


def refresh_notebooks() -> None:
    """Write the notebooks from their scripts and run them, so that outputs and figures are those of today."""
    import jupytext
    import nbformat
    from nbclient import NotebookClient

    for script in sorted((doc.ROOT / "notebooks").glob("*.py")):
        notebook = jupytext.read(script)
        for number, cell in enumerate(notebook.cells):
            cell["id"] = f"cell-{number}"
        resources = {"metadata": {"path": str(script.parent)}}
        NotebookClient(notebook, timeout=120, record_timing=False, resources=resources).execute()
        notebook.metadata["language_info"] = {"name": "python"}
        nbformat.write(notebook, script.with_suffix(".ipynb"))


def main() -> None:
    """Refresh what is quick, and the notebooks when asked."""
    for name, (path, make) in doc.GENERATED.items():
        path.write_text(doc.with_generated(path.read_text(encoding="utf-8"), name, make()), encoding="utf-8")
    refresh_prints(doc.README)
    refresh_prints(doc.DEVELOPERS)
    for page in sorted(doc.GUIDE.glob("*.md")):
        refresh_prints(page)
    refresh_picture()
    if "--notebooks" in sys.argv[1:]:
        refresh_notebooks()


if __name__ == "__main__":
    main()
