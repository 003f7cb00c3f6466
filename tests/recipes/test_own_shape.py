"""A recipe may add and cut CadQuery shapes of its own; both engines agree with plain arithmetic."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

from plugs.cli import main

pytestmark = pytest.mark.kernel

RECIPE = '''\
"""A block with a post on it and a hole through it, both drawn in CadQuery."""

import cadquery as cq

from plugs import Corner, Plug, Stack, Station


def block(hole_radius=30.0, post_radius=20.0, post_height=40.0):
    """Return a block of 300 x 200 x 100 with two shapes of its own."""
    corners = {"foot": Corner(100.0, 0.0), "edge": Corner(100.0, 100.0)}
    foot, up = cq.Vector(220.0, 0.0, 50.0), cq.Vector(0.0, 0.0, 1.0)
    post = cq.Solid.makeCylinder(post_radius, post_height + 50.0, foot, up)
    hole = cq.Workplane("XY").center(90.0, 0.0).circle(hole_radius).extrude(150.0)
    return Plug(
        name="Block",
        stations=(Station(x=0.0, corners=corners), Station(x=300.0, corners=corners)),
        added=(post,),
        cut=(hole,),
        stack=Stack(thicknesses=(50.0,)),
    )
'''

BLOCK, HOLE, POST = 300.0 * 200.0 * 100.0, math.pi * 30.0**2 * 100.0, math.pi * 20.0**2 * 40.0


def built(tmp_path: Path, text: str, *more: str) -> dict[str, dict[str, float]]:
    """Return the summary of a build."""
    (tmp_path / "block.py").write_text(text, encoding="utf-8")
    assert main(["build", str(tmp_path / "block.py"), "--out", str(tmp_path / "out"), *more]) == 0
    found: dict[str, dict[str, float]] = json.loads((tmp_path / "out" / "summary.json").read_bytes())
    return found


def test_added_and_cut_shapes(tmp_path: Path) -> None:
    """Block less cylinder plus cylinder: exactly by the kernel, to the chord tolerance by the mesh."""
    solid = built(tmp_path, RECIPE, "--only", "step")["solid"]
    exact = 1e-9 * (BLOCK - HOLE + POST)
    assert solid["volume_by_kernel_m3"] == pytest.approx(exact, rel=1e-9)
    chord = 0.02 * 2.0 * math.pi * (30.0 * 100.0 + 20.0 * 40.0) * 1e-9
    assert abs(solid["volume_by_mesh_m3"] - exact) < chord
    assert solid["bounds_mm"]["to"][2] == pytest.approx(140.0, abs=1e-6)  # type: ignore[index]


def test_without_step_the_mesh_engine_has_the_shapes_too(tmp_path: Path) -> None:
    """The recipe's shapes come tessellated into the everyday engine."""
    solid = built(tmp_path, RECIPE, "--only", "csv")["solid"]
    assert solid["volume_by_kernel_m3"] is None
    assert solid["volume_m3"] == pytest.approx(1e-9 * (BLOCK - HOLE + POST), rel=1e-4)


def test_shape_that_changes_nothing_is_found(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A cut beside the plug is a warning, not an error."""
    built(tmp_path, RECIPE.replace("center(90.0, 0.0)", "center(900.0, 0.0)"), "--only", "csv")
    out = capsys.readouterr().out
    assert "mind: cut[0]: the shape does not touch the plug" in out


def test_shape_that_is_no_solid_is_an_input_error(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A wire encloses nothing: three lines, exit 2."""
    text = RECIPE.replace(".extrude(150.0)", ".wire()")
    (tmp_path / "block.py").write_text(text, encoding="utf-8")
    assert main(["build", str(tmp_path / "block.py"), "--out", str(tmp_path / "out")]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 3
    assert lines[0].startswith("cut[0] = ")
    assert not (tmp_path / "out").exists()
