"""What is said of templates is so: the largest bevel, and the footprint of the plan they stand on."""

from __future__ import annotations

import re

import numpy as np
import pytest
import shapely

from plugs.ground.errors import PlugError
from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from plugs.templates.templates import make_templates
from plugs.templates.words import Templates
from tests.demos import at_defaults
from tests.shapes import box_plan, solid_of

EVERY = 0.05


def _dense(lines: shapely.Geometry) -> np.ndarray:
    """Return points along lines, near enough to one another that none is missed by more than EVERY / 2."""
    return shapely.points(shapely.get_coordinates(shapely.segmentize(lines, EVERY)))


def _leaning(by_mm: float) -> Body:
    """Return a post, 60 by 40, whose sides all lean inward by so much over each 10 mm of x."""
    rings = [
        np.array([(-h, -v), (h, -v), (h, v), (-h, v)])
        for h, v in ((30.0, 20.0), (30.0 - 2.0 * by_mm, 20.0 - 2.0 * by_mm))
    ]
    corners = np.array([(x, *p) for x, ring in zip((0.0, 20.0), rings, strict=True) for p in ring])
    faces = [(0, 3, 2), (0, 2, 1), (4, 5, 6), (4, 6, 7)]
    for i in range(4):
        j = (i + 1) % 4
        faces += [(i, j, 4 + j), (i, 4 + j, 4 + i)]
    return mesh.body_of_triangles(corners, np.array(faces))


@pytest.mark.parametrize("by_mm", [2.0, 8.0])
def test_bevel_of_a_corner_is_that_of_its_diagonal(by_mm: float) -> None:
    """At a corner both sides fall away, so that it lies by the square root of 2 farther off than a side."""
    words = Templates(thickness=10.0, stations=(0.0,), screw_diameter=0.0)
    (template,), _ = make_templates(_leaning(by_mm), words, ())
    assert template.bevel.largest_mm == pytest.approx(by_mm * 2.0**0.5, abs=0.01)


def test_template_as_thick_as_the_plug_is_long() -> None:
    """It is the thickness that is wrong, not the position, and the remedy does."""
    words = Templates(thickness=20.0, stations=(0.0,), screw_diameter=0.0)
    with pytest.raises(PlugError) as caught:
        make_templates(_leaning(2.0), words, ())
    assert caught.value.param == "templates.thickness"
    (most,) = re.findall(r"[0-9.]+", caught.value.remedy)
    make_templates(_leaning(2.0), Templates(thickness=float(most), stations=(0.0,), screw_diameter=0.0), ())


def test_bevel_is_at_most_what_is_stated() -> None:
    """A blended end and a pocket: no point of either line lies farther off, and one lies as far."""
    pocket = mesh.prism(shapely.MultiPolygon([shapely.box(55, -30, 140, 30)]), 65.0, 120.0)
    body = mesh.less(solid_of(box_plan(300.0, 200.0, 100.0, end_radius=40.0)).body, pocket)
    words = Templates(stations=(3.0, 20.0, 50.0, 150.0), screw_diameter=0.0)
    for template in make_templates(body, words, ())[0]:
        turned = mesh.stacked(body, "x")
        found = 0.0
        for at, is_above in ((template.from_mm + 1e-4, True), (template.to_mm - 1e-4, False)):
            edge = mesh.outline(turned, at, above=is_above).boundary
            found = max(
                found,
                float(shapely.distance(_dense(template.outline.boundary), edge).max()),
                float(shapely.distance(_dense(edge), template.outline.boundary).max()),
            )
        assert template.bevel.largest_mm == pytest.approx(found, abs=0.5 * EVERY)
        assert template.bevel.largest_mm >= found - 0.002


def test_footprint_has_no_gap_for_the_lengthwise_template() -> None:
    """The base plan of a stack of bays covers what the plug's own triangles cover, seen from above."""
    work = at_defaults("bonnet_scoop")
    corners, triangles = mesh.triangles_of(work.body.body)
    seen = shapely.union_all(shapely.buffer(shapely.polygons(corners[triangles][:, :, :2]), 1e-6))
    assert work.base.footprint.symmetric_difference(seen).area < 1e-5 * seen.area
