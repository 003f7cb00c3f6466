"""CadQuery shapes of the recipe's own become triangles within the chord tolerance, or are refused.

Volumes and distances by closed forms of textbooks (from memory).
"""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest

from plugs.body.own_shape import make_shape
from plugs.ground.errors import PlugError
from plugs.mesh import mesh

pytestmark = pytest.mark.kernel


def solids() -> SimpleNamespace:
    """Return CadQuery, loaded only where it is wanted."""
    import cadquery

    return SimpleNamespace(Solid=cadquery.Solid, Workplane=cadquery.Workplane, Face=cadquery.Face)


def test_own_shape_is_tessellated() -> None:
    """A box, bare and as a work plane; the kernel's text is kept for the kernel."""
    box = solids().Solid.makeBox(30.0, 20.0, 10.0)
    for item in (box, solids().Workplane("XY").box(30.0, 20.0, 10.0)):
        shape = make_shape(item, "added[0]", "add", 0.02)
        assert mesh.volume_of(shape.body) == pytest.approx(6000.0)
        assert (shape.param, shape.kind) == ("added[0]", "add")
        assert b"CASCADE" in shape.brep


@pytest.mark.parametrize("radius", [4.0, 60.0, 400.0])
def test_a_sphere_keeps_the_chord_tolerance_whatever_its_size(radius: float) -> None:
    """No corner, middle of an edge or of a triangle lies farther from the sphere than asked, coarse or not.

    It was 0.38 mm at a radius of 400. The recipe's own coarse triangles, made before, change nothing.
    """
    tolerance = 0.02 if radius < 400.0 else 0.06
    ball = solids().Solid.makeSphere(radius, angleDegrees1=-90.0, angleDegrees2=90.0)
    ball.tessellate(5.0)
    shape = make_shape(ball, "cut[0]", "cut", tolerance)
    vertices, triangles = mesh.triangles_of(shape.body)
    corners = vertices[triangles]
    places = np.concatenate(
        [vertices, corners.mean(axis=1), 0.5 * (corners + np.roll(corners, 1, axis=1)).reshape(-1, 3)]
    )
    miss = np.abs(np.linalg.norm(places, axis=1) - radius)
    assert float(miss.max()) <= tolerance
    gap = 4.0 / 3.0 * math.pi * radius**3 - mesh.volume_of(shape.body)
    assert 0.0 <= gap <= tolerance * 4.0 * math.pi * radius**2


@pytest.mark.parametrize("name", ["text", "nothing", "number", "face", "none of it", "two", "far"])
def test_what_is_no_shape_is_refused(name: str) -> None:
    """Not a solid, open, empty, more than one, or larger than any plug: with a number that would do."""
    box = solids().Solid.makeBox(30.0, 20.0, 10.0)
    item = {
        "text": "cube",
        "nothing": None,
        "number": 7,
        "face": solids().Face.makePlane(10.0, 10.0),
        "none of it": SimpleNamespace(vals=list),
        "two": SimpleNamespace(vals=lambda: [box, box]),
        "far": solids().Solid.makeSphere(3e6),
    }[name]
    with pytest.raises(PlugError) as caught:
        make_shape(item, "cut[3]", "cut", 0.02)
    assert caught.value.param == "cut[3]"
    assert any(digit in caught.value.remedy for digit in "12")
