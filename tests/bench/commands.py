"""Commands from a cold start, beside the import of CadQuery alone."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from plugs.mesh.mesh import triangles_of
from plugs.mesh.triangles import areas
from plugs.work import opened
from tests.bench.runs import (
    BOOKLESS,
    MAIN,
    OTHERS,
    RECIPES,
    STEPLESS,
    alternating,
    bare_import,
    command,
    peak_mb,
)
from tests.bench.table import row

_CUT = """from dataclasses import replace
from runpy import run_path

from plugs import Skin


def variant():
    plug = run_path({recipe!r})[{name!r}]()
    return replace(plug, schedule=None, skin=Skin(thickness=2.0, no_laminate=("floor", "front")))
"""
"""A recipe with all that is cut, and a skin, but nothing laid up."""

_N_POINTS = 200_000

ROWS = {
    "check": ("`check`, everything in its recipe", 0.6),
    "layers": ("layers as STL and DXF", 0.45),
    "cut": ("all that is cut, without STEP", 0.9),
    "told": ("everything, pictures, book and paper, without STEP", 1.5),
    "whole": ("everything with STEP and proof", 1.6),
    "compare": ("`compare` with 200,000 points", 1.2),
}
"""What is asked of the main demo; the others are shown beside it."""


def commands(chosen: list[str], folder: Path, runs: int) -> None:
    """Time commands on each demo in alternation, then look at the memory of each."""
    for name in (MAIN, *OTHERS):
        asked = {key: _arguments(key, name, folder) for key in chosen if key != "compare" or name == MAIN}
        works = {key: command(*arguments) for key, arguments in asked.items()}
        taken = alternating({"import": bare_import, **works}, runs)
        alone = taken.pop("import")
        row("import of cadquery alone", "", taken=alone)
        for key, times in taken.items():
            words, bound = ROWS[key]
            row(words, name, times.seconds / alone.seconds, bound if name == MAIN else None,
                taken=times, memory=peak_mb(asked[key]))  # fmt: skip


def _arguments(key: str, name: str, folder: Path) -> list[str]:
    """Return the words of a command."""
    recipe = RECIPES / f"{name}.py"
    if key == "check":
        return ["check", str(recipe)]
    if key == "cut" and name == MAIN:  # the only demo that is laid up
        text = _CUT.format(recipe=str(recipe), name=name)
        recipe = folder / "variant.py"
        recipe.write_text(text, encoding="utf-8")
    if key == "compare":
        return [
            "compare",
            str(recipe),
            str(_scanned(recipe, folder)),
            "--unit",
            "mm",
            "--out",
            str(folder / "off"),
        ]
    build = ["build", str(recipe), "--out", str(folder / "out")]
    less = {
        "layers": ("--layers", "--only", "stl", "--only", "dxf"),
        "cut": (*STEPLESS, *BOOKLESS),
        "told": STEPLESS,
    }
    return [*build, *less.get(key, ())]


def _scanned(recipe: Path, folder: Path) -> Path:
    """Return a scan of a recipe's finished part: points all over it, 0.3 mm off it, turned and moved."""
    vertices, triangles = triangles_of(opened(recipe, {}).finish.body)
    corners, chance = vertices[triangles], np.random.default_rng(0)
    size = areas(corners)
    some = corners[chance.choice(len(size), _N_POINTS, p=size / size.sum())]
    points = np.einsum("ij,ijk->ik", chance.dirichlet((1.0, 1.0, 1.0), _N_POINTS), some)
    points += chance.normal(scale=0.3, size=points.shape)
    turn = np.array([[np.cos(0.1), -np.sin(0.1), 0.0], [np.sin(0.1), np.cos(0.1), 0.0], [0.0, 0.0, 1.0]])
    path = folder / "scan.xyz"
    np.savetxt(path, points @ turn.T + [10.0, 5.0, -20.0], fmt="%.4f")
    return path
