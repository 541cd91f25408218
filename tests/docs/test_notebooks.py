"""The notebooks run, show what they showed when they were committed, and read well without running."""

from __future__ import annotations

import base64
import json
import re
from pathlib import Path
from typing import Any

import pytest
from support import documents as doc

NAMES = sorted(path.name for path in (doc.ROOT / "notebooks").glob("*.ipynb"))
MACHINE = re.compile(r"/(?:home|root|tmp|usr|opt|work|Users|private)/|\\Users\\|site-packages")
AFRESH = "%reset -f\n%matplotlib inline\n%config InlineBackend.print_figure_kwargs = {'bbox_inches': None}"
"""Nothing defined yet; figures are counted only, and would be drawn twice to be cut to what stands on them."""


def read(path: Path) -> list[dict[str, Any]]:
    return list(json.loads(path.read_text(encoding="utf-8"))["cells"])


def text_of(cell: dict[str, Any]) -> str:
    """Return what a cell printed."""
    return "".join("".join(out.get("text", [])) for out in cell.get("outputs", []) if out["output_type"] == "stream")


def figures_of(cell: dict[str, Any]) -> list[bytes]:
    return [
        base64.b64decode(out["data"]["image/png"])
        for out in cell.get("outputs", [])
        if "image/png" in out.get("data", {})
    ]


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Run copies of all notebooks beside a copy of the demo, one after the other, each with nothing defined yet."""
    import nbformat
    from jupyter_client.manager import KernelManager
    from nbclient import NotebookClient

    folder = doc.copy_of_the_demo(tmp_path_factory.mktemp("notebooks")) / "notebooks"
    folder.mkdir()
    kernel = KernelManager()
    env = {name: value for name, value in doc.environment().items() if name != "MPLBACKEND"}
    kernel.start_kernel(cwd=str(folder), env=env)  # one for all: each would load the same libraries again
    line = kernel.client()
    line.start_channels()
    try:
        line.wait_for_ready(timeout=60)
        for name in NAMES:
            notebook = nbformat.read(doc.ROOT / "notebooks" / name, 4)
            notebook.cells.insert(0, nbformat.v4.new_code_cell(AFRESH))
            runner = NotebookClient(notebook, km=kernel, timeout=120)
            runner.kc = line
            runner.execute()
            del notebook.cells[0]
            nbformat.write(notebook, folder / name)
    finally:
        line.stop_channels()
        kernel.shutdown_kernel(now=True)
    return folder


def test_there_are_four_of_them_each_with_its_script() -> None:
    """Edit the script; the notebook is made from it."""
    scripts = sorted(path.stem for path in (doc.ROOT / "notebooks").glob("*.py"))
    assert len(NAMES) == 4
    assert scripts == [name.removesuffix(".ipynb") for name in NAMES]


@pytest.mark.parametrize("name", NAMES)
def test_script_and_notebook_hold_the_same_cells(name: str) -> None:
    """Run tests/docs/refresh.py --notebooks to bring them together."""
    import jupytext

    notebook = jupytext.read(doc.ROOT / "notebooks" / name)
    script = jupytext.read(doc.ROOT / "notebooks" / name.replace(".ipynb", ".py"))
    assert [(c.cell_type, c.source) for c in notebook.cells] == [(c.cell_type, c.source) for c in script.cells]


@pytest.mark.parametrize("name", NAMES)
def test_a_notebook_shows_today_what_it_showed_when_committed(name: str, run: Path) -> None:
    """Printed words and figures; small differences are left to other processors and better estimates."""
    then, now = read(doc.ROOT / "notebooks" / name), read(run / name)
    assert len(then) == len(now)
    for before, after in zip(then, now, strict=True):
        assert doc.same_print(text_of(before), text_of(after)), text_of(after)
        assert len(figures_of(before)) == len(figures_of(after))


@pytest.mark.parametrize("name", NAMES)
def test_a_notebook_reads_well_without_running(name: str) -> None:
    """Figures and results are stored, every cell was run in order, and nothing tells of the machine or of warnings."""
    cells = read(doc.ROOT / "notebooks" / name)
    code = [cell for cell in cells if cell["cell_type"] == "code"]
    assert [cell["execution_count"] for cell in code] == list(range(1, len(code) + 1))
    assert sum(len(figures_of(cell)) for cell in cells) >= 2
    assert sum(cell["cell_type"] == "markdown" for cell in cells) >= 5
    for cell in cells:
        shown = text_of(cell) + "".join(cell["source"])
        assert not MACHINE.search(shown), shown
        for out in cell.get("outputs", []):
            assert out["output_type"] in ("stream", "display_data")
            assert out.get("name", "stdout") == "stdout"


@pytest.mark.parametrize("name", NAMES)
def test_a_figure_is_a_picture_of_a_size_to_look_at(name: str) -> None:
    """Wide enough to read, small enough to keep."""
    for cell in read(doc.ROOT / "notebooks" / name):
        for picture in figures_of(cell):
            width = int.from_bytes(picture[16:20], "big")
            assert 500 <= width <= 1000
            assert len(picture) < 150_000
