"""Fixed: the archive of sources lacked recipes and tests, and no licence was named of what is carried."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tarfile
import zipfile
from email.parser import Parser
from pathlib import Path

import pytest
import setuptools

from tests.cli.test_commands import ROOT

BUILD = """\
import sys
sys.path.insert(0, ".ci")
import build_sources
sys.argv[1:] = []
build_sources.build_sdist("dist")
build_sources.build_wheel("dist")
"""


def run_in(folder: Path, *words: str, path: Path | None = None) -> subprocess.CompletedProcess[str]:
    """Run Python in a folder, with a package of another place or none."""
    found = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    return subprocess.run(
        [sys.executable, *words], cwd=folder, env=found | ({"PYTHONPATH": str(path)} if path else {}),
        capture_output=True, text=True, timeout=900, check=False,
    )  # fmt: skip


@pytest.fixture(scope="module")
def dist(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Return the archive of sources and the wheel, built from a copy of the tree."""
    tree = tmp_path_factory.mktemp("tree") / "plugs"
    tree.mkdir()
    for name in ("plugs", "recipes", "tests", ".ci", ".github"):
        shutil.copytree(ROOT / name, tree / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("README.md", "DEVELOPERS.md", "pyproject.toml"):
        shutil.copy(ROOT / name, tree / name)
    run = run_in(tree, "-c", BUILD, path=Path(setuptools.__file__).parents[1])
    assert run.returncode == 0, run.stderr
    (sources,), (wheel,) = ((tree / "dist").glob(kind) for kind in ("*.tar.gz", "*.whl"))
    return sources, wheel


def test_the_wheel_is_whole_and_works(dist: tuple[Path, Path], tmp_path: Path) -> None:
    """Unpacked where there is nothing else, it writes a recipe and builds its book; MIT is named."""
    with zipfile.ZipFile(dist[1]) as wheel:
        names = set(wheel.namelist())
        wheel.extractall(tmp_path / "site")
    ours = {p.relative_to(ROOT).as_posix() for p in (ROOT / "plugs").rglob("*.py")}
    web = {f"plugs/book/web/{name}" for name in ("three.min.js", "book.js", "three.LICENSE.txt")}
    assert ours | web | {"plugs/py.typed"} <= names
    assert not [name for name in names if name.startswith(("tests", "recipes"))]
    (kept,) = (name for name in names if name.endswith("METADATA"))
    told = Parser().parsestr((tmp_path / "site" / kept).read_text(encoding="utf-8"))
    assert told.get_all("License-File") == ["plugs/book/web/three.LICENSE.txt"]
    assert "three.js" in told.get_payload()
    licence = next(name for name in names if "/licenses/" in name)
    assert "The MIT License" in (tmp_path / "site" / licence).read_text(encoding="utf-8")
    for words in (("new", "cover"), ("build", "cover.py", "--only", "html")):
        run = run_in(tmp_path, "-m", "plugs", *words, path=tmp_path / "site")
        assert run.returncode == 0, run.stderr
    assert (tmp_path / "exports" / "cover" / "book.html").is_file()


def test_the_archive_of_sources_holds_what_the_readme_speaks_of(
    dist: tuple[Path, Path], tmp_path: Path
) -> None:
    """Recipes with their tables, tests with their sources, the guide for developers; a recipe is checked."""
    with tarfile.open(dist[0]) as archive:
        archive.extractall(tmp_path, filter="data")
    (top,) = tmp_path.iterdir()
    for room in ("plugs", "recipes", "tests", ".ci"):
        there = {
            p.relative_to(ROOT / room) for p in (ROOT / room).rglob("*") if p.suffix in (".py", ".csv", ".md")
        }
        assert not [path for path in there if not (top / room / path).is_file()]
    for name in (".ci/run", ".ci/wheel", ".github/workflows/ci.yml"):
        assert (top / name).is_file()
    assert (top / "DEVELOPERS.md").is_file()
    run = run_in(top, "-m", "plugs", "check", "recipes/seat_hump.py")
    assert (run.returncode, run.stderr) == (0, "")
