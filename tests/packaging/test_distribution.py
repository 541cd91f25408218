"""Wheel and source archive: exactly what belongs in them, and a wheel that works where it is installed."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest
from support.documents import ROOT, environment

from speedcal import load_job

SHIPPED = {".py", ".toml", ".html", ".css", ".js", ".svg", ".typed", ".typ", ".md"}
IGNORED = {"__pycache__", ".ipynb_checkpoints", ".pytest_cache", ".mypy_cache", ".ruff_cache", ".hypothesis"}


def files_in(*folders: str) -> set[str]:
    """Return the files of the project in some folders, as paths from its top."""
    found = set()
    for folder in folders:
        for path in (ROOT / folder).rglob("*"):
            if path.is_file() and not IGNORED & set(path.parts) and path.suffix != ".pyc":
                found.add(path.relative_to(ROOT).as_posix())
    return found


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build both, the wheel from the source archive, as a release does."""
    folder = tmp_path_factory.mktemp("dist")
    command = [sys.executable, "-m", "build", "--no-isolation", "--outdir", str(folder), str(ROOT)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return folder


@pytest.fixture(scope="module")
def installed(built: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Lay the wheel out in a folder of its own, which is all that installing it does beside the one command."""
    folder = tmp_path_factory.mktemp("installed")
    shutil.unpack_archive(next(built.glob("*.whl")), folder, "zip")
    return folder


def run_installed(installed: Path, command: list[str], *, cwd: Path, **more: str) -> subprocess.CompletedProcess[str]:
    env = {**environment(), "PYTHONPATH": str(installed), **more}
    return subprocess.run(command, cwd=cwd, env=env, capture_output=True, text=True, check=False)


def test_the_wheel_holds_the_package_and_nothing_else(built: Path) -> None:
    """Every module, data file, template and the mark of typed packages; no tests, no demo, no caches."""
    with zipfile.ZipFile(next(built.glob("*.whl"))) as wheel:
        names = set(wheel.namelist())
    about = {name for name in names if ".dist-info/" in name}
    assert {name.split("/", 1)[1] for name in about} == {
        "METADATA",
        "WHEEL",
        "RECORD",
        "entry_points.txt",
        "licenses/LICENSE",
    }
    assert names - about == files_in("speedcal")
    assert {Path(name).suffix for name in names - about} == SHIPPED
    assert "speedcal/py.typed" in names


def test_the_source_archive_holds_what_a_developer_needs_and_nothing_else(built: Path) -> None:
    """The package, tests, demo, notebooks and documents."""
    with tarfile.open(next(built.glob("*.tar.gz"))) as archive:
        names = {member.name.split("/", 1)[1] for member in archive.getmembers() if member.isfile()}
    top = {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "PKG-INFO", ".gitignore"}
    assert names == top | files_in("speedcal", "tests", "data_demo", "notebooks")


def test_what_the_wheel_says_of_itself(built: Path) -> None:
    """Licence, Python, the one command, the readme as the page of the project."""
    with zipfile.ZipFile(next(built.glob("*.whl"))) as wheel:
        about = {name.rsplit("/", 1)[1]: wheel.read(name).decode() for name in wheel.namelist() if "dist-info" in name}
    head, _, text = about["METADATA"].partition("\n\n")
    assert "License-Expression: MIT" in head
    assert "Requires-Python: >=3.11" in head
    assert "Classifier: Typing :: Typed" in head
    assert text.startswith("# speedcal\n")
    assert about["entry_points.txt"].split() == ["[console_scripts]", "speedcal", "=", "speedcal.cli:main"]


def test_the_installed_package_makes_the_same_bytes_of_the_demo(installed: Path, tmp_path: Path) -> None:
    """In another process, with another hash seed, from another folder; the wheel carries rules, templates, styles."""
    command = [sys.executable, "-m", "speedcal", "report", str(ROOT / "data_demo"), "--out", "result"]
    done = run_installed(installed, command, cwd=tmp_path, PYTHONHASHSEED="7")
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("At a true 60 mph")
    assert {path.name for path in tmp_path.iterdir()} == {"result"}
    made = {path.name: path.read_bytes() for path in (tmp_path / "result").iterdir()}
    here = load_job(ROOT / "data_demo" / "job.toml").run().contents()
    assert made.keys() == here.keys()
    assert [name for name in made if made[name] != here[name]] == []


def test_the_installed_library_is_the_one_of_the_wheel(installed: Path, tmp_path: Path) -> None:
    """A check of the check above: it does not run the tree of the project."""
    code = "import speedcal, sys; sys.stdout.write(speedcal.__file__)"
    done = run_installed(installed, [sys.executable, "-c", code], cwd=tmp_path)
    assert Path(done.stdout).parent == installed / "speedcal"


def test_the_public_names_are_typed(installed: Path, tmp_path: Path) -> None:
    """Strict mypy accepts a caller's file, and sees a wrong argument in it; it reads no other library's types."""
    caller = (ROOT / "tests" / "typing_api.py").read_text(encoding="utf-8")
    (tmp_path / "caller.py").write_text(caller, encoding="utf-8")
    (tmp_path / "wrong.py").write_text("import speedcal\n\nspeedcal.read_track(3)\n", encoding="utf-8")
    options = ["--strict", "--no-site-packages", "--ignore-missing-imports", "--follow-imports=silent"]
    files = ["--config-file", os.devnull, "--cache-dir", os.devnull, "caller.py", "wrong.py"]
    env = {**environment(), "MYPYPATH": str(installed)}
    command = [sys.executable, "-m", "mypy", *options, *files]
    told = subprocess.run(command, cwd=tmp_path, env=env, capture_output=True, text=True, check=False).stdout
    assert "caller.py" not in told
    assert re.search(r"wrong\.py:3: error: .*incompatible type", told)
