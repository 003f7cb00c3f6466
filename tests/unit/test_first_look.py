"""The first look after a save: the same foam and the same layers as the whole build, and nothing else."""

from __future__ import annotations

from pathlib import Path

import pytest

from plugs.build import build
from plugs.first_look import first_look
from plugs.ground.errors import PlugError
from plugs.kernel.worker import KernelRun
from tests.cli.conftest import PART


def no_kernel() -> KernelRun:
    """Refuse to start the kernel."""
    raise AssertionError("the kernel was wanted")


def look(recipe: Path, out: Path, **changes: object) -> Path:
    """Take a first look, and return the folder."""
    kinds = ("stl", "dxf", "svg", "pdf", "html")
    return first_look(
        recipe, changes, out=out, kinds=kinds, say=lambda _: None, open_kernel=no_kernel
    ).folder  # fmt: skip


def test_files_are_those_of_the_whole_build(tmp_path: Path) -> None:
    """Foam byte for byte; of each layer the drawing, of all else nothing; the summary says null."""
    recipe = tmp_path / "part.py"
    recipe.write_text(PART, encoding="utf-8")
    folder = look(recipe, tmp_path / "first")
    whole = build(recipe, {}, out=tmp_path / "whole", kinds=("stl", "dxf", "svg")).folder
    names = sorted(str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file())
    assert len([name for name in names if name.startswith("layers")]) == 6
    others = [name for name in names if not name.startswith("layers")]
    assert others == ["record.json", "solid/foam.stl", "summary.json"]
    for name in names:
        if name not in ("record.json", "summary.json"):  # which tell what was worked out
            assert (folder / name).read_bytes() == (whole / name).read_bytes(), name


def test_a_refused_recipe_leaves_the_folder(tmp_path: Path) -> None:
    """The fault is told, the last good folder stays."""
    recipe = tmp_path / "part.py"
    recipe.write_text(PART, encoding="utf-8")
    folder = look(recipe, tmp_path / "out")
    before = (folder / "solid" / "foam.stl").read_bytes()
    with pytest.raises(PlugError):
        look(recipe, tmp_path / "out", radius=3000.0)
    assert (folder / "solid" / "foam.stl").read_bytes() == before
