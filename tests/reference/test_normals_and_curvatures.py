"""Normals and curvatures that pictures are shaded by: closed forms, and differences of the section function.

A capsule is drawn as any plug: a square section of 2 R with edges of radius R between ends of radius R: a
cylinder with half a sphere at either end. Closed forms (derived here from their equations): the normal of a
sphere of radius R about c is (p - c) / R and both its curvatures are 1 / R; of a cylinder the normal is that
of its circle, the curvatures 1 / R and 0.
"""

from __future__ import annotations

import numpy as np
import pytest

from plugs import Corner, End, Station
from plugs.lines.section import LinesPlan
from plugs.lines.stations import Loft, make_loft
from plugs.mesh.sampling import sample
from plugs.mesh.shaded import Shaded, known, shaded, shaded_body
from plugs.mesh.triangles import normals
from tests.demos import at_defaults

R, LENGTH = 60.0, 400.0


def capsule() -> Loft:
    """Return a capsule."""
    corners = {
        name: Corner(y, z, R) for name, y, z in (("a", -R, -R), ("b", R, -R), ("c", R, R), ("d", -R, R))
    }
    stations = [Station(x=x, corners=corners) for x in (0.0, LENGTH)]
    ends = End(radius=R)
    return make_loft(LinesPlan(stations=stations, mirrored=False, front=ends, rear=ends))


def surface(loft: Loft, tolerance: float = 0.2) -> Shaded:
    """Return the shaded surface of a loft."""
    return shaded(known(shaded_body(loft, sample(loft, tolerance))))


def test_a_capsule_is_a_cylinder_between_spheres() -> None:
    """Normals to 1e-6, but 1e-4 (0.006 degrees) at the poles, where they are those a hair away.

    So are curvatures there, within 0.2 %: colours tell 5 % apart.
    """
    found = surface(capsule())
    centre = np.zeros_like(found.vertices)
    centre[:, 0] = np.clip(found.vertices[:, 0], R, LENGTH - R)
    true = (found.vertices - centre) / R
    assert np.abs(np.linalg.norm(true, axis=1) - 1.0).max() < 1e-6
    off = np.abs(found.normals - true).max(axis=1)
    is_pole = np.abs(true[:, 0]) > 1.0 - 1e-9
    assert off[~is_pole].max() < 1e-6
    assert off[is_pole].max() < 1e-4
    is_on_line = np.isclose(found.vertices[:, 0], R) | np.isclose(found.vertices[:, 0], LENGTH - R)
    for chosen, least in (
        ((found.vertices[:, 0] < R) & ~is_on_line, 1.0),
        ((np.abs(found.vertices[:, 0] - LENGTH / 2) < LENGTH / 2 - R) & ~is_on_line, 0.0),
    ):
        assert chosen.sum() >= (20 if least else 0)
        assert R * found.bends[chosen] == pytest.approx(
            np.broadcast_to([1.0, least], (chosen.sum(), 2)), abs=0.002
        )
    # where they meet, a corner knows the sphere and the cylinder, and nothing between
    least = R * found.bends[is_on_line, 1]
    assert ((np.abs(least) < 1e-6) | (np.abs(least - 1.0) < 1e-6)).all()
    assert (least < 0.5).any()
    assert (least > 0.5).any()
    assert len(found.edges()) == 0


@pytest.mark.parametrize("name", ["sidecar_tail", "bonnet_scoop"])
def test_normals_of_a_demo_are_those_of_its_section_function(name: str) -> None:
    """By central differences of it, along the plug and round it; facets are off by degrees, these are not."""
    loft = at_defaults(name).drawn
    grid = sample(loft, 0.2)
    found = surface(loft)
    h = 1e-4
    rows = np.flatnonzero(~np.isin(grid.t, loft.breaks))
    columns = np.flatnonzero((grid.ratio > 0.0) & (grid.ratio < 1.0))
    segment, ratio = grid.segment[columns], grid.ratio[columns]
    t = grid.t[rows]
    along = loft.sections(t + h).place(segment, ratio) - loft.sections(t - h).place(segment, ratio)
    here = loft.sections(t)
    across = here.place(segment, ratio + h) - here.place(segment, ratio - h)
    true = np.cross(across, along).reshape(-1, 3)
    size = np.linalg.norm(true, axis=1)
    has_length = size > 1e-12
    true = true[has_length] / size[has_length, None]
    of = {tuple(p): n for p, n in zip(found.vertices.round(6).tolist(), found.normals, strict=True)}
    mine = np.array([of[tuple(p)] for p in here.place(segment, ratio).reshape(-1, 3).round(6).tolist()])[
        has_length
    ]
    assert len(mine) > 100
    assert np.degrees(np.arccos(np.clip(np.sum(mine * true, axis=1), -1.0, 1.0))).max() < 0.02
    facets, _ = normals(found.vertices[found.triangles])
    off = np.sum(found.normals[found.triangles] * facets[:, None], axis=2)
    assert np.degrees(np.arccos(np.clip(off, -1.0, 1.0))).max() > 1.0
