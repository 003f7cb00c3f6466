"""Draft, parting and what is hidden, against closed forms and another library's normals.

A cone's wall leans by its half angle; a sphere's draft along its axis is its latitude; a cylinder that is
split along its middle has none that locks; a wall that leans back by 5 degrees locks by 5: geometry, derived
here. The normals of triangles are those of trimesh.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh

from plugs.body.body import make_solid
from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, End, LinesPlan, Station
from plugs.mould.drafts import FaceDraft, covered, degrees, drafts_of
from plugs.mould.parted import Parted, part_surface
from plugs.mould.surface import surface_of
from plugs.mould.words import Mould, MouldPart, whole_mould
from tests.shapes import box_plan, frustum_plan


def parted(plan: LinesPlan, *open_places: str, **words: object) -> Parted:
    """Return the surface of a plan in the parts of a mould."""
    loft = checked_loft(plan)
    surface = surface_of(make_solid(loft, [], [], 0.05))
    return part_surface(surface, loft, whole_mould(Mould(**words)), open_places)  # type: ignore[arg-type]


def faces(one: Parted) -> dict[tuple[str, str], FaceDraft]:
    """Return the draft of each place, by part and place."""
    return {(face.part, face.place): face for face in drafts_of(one).faces}


def along(pull: object) -> dict[str, object]:
    """Return the words of a mould in one part."""
    return {"parts": (MouldPart(name="mould", pull=pull),)}  # type: ignore[arg-type]


def trough(lean_deg: float) -> LinesPlan:
    """Return a plug of 400 x 200 mm whose sides lean in by an angle over 100 mm of height."""
    top = 100.0 - 100.0 * math.tan(math.radians(lean_deg))
    corners = {"low": Corner(100.0, 0.0), "high": Corner(top, 100.0)}
    stations = [Station(x=x, corners=corners) for x in (0.0, 400.0)]
    return LinesPlan(stations=stations, panels=("floor", "side", "deck"))


@pytest.mark.parametrize(("pull", "sign"), [("rear", 1.0), ("front", -1.0)])
def test_a_cone_leans_by_its_half_angle(pull: str, sign: float) -> None:
    """Radii of 100 and 60 mm over 400 mm: atan(0.1) off the small end; the other way it locks by that."""
    found = faces(parted(frustum_plan([(0.0, 100.0), (400.0, 60.0)]), "front", "rear", **along(pull)))
    slant = math.hypot(400.0, 40.0)
    for face in found.values():
        assert face.worst_deg == pytest.approx(
            sign * math.degrees(math.atan(0.1)), abs=5e-3
        )  # turned on chords
        assert face.locked_mm2 == pytest.approx(face.area_mm2 if sign < 0.0 else 0.0)
    area = sum(face.area_mm2 for face in found.values())
    assert area == pytest.approx(math.pi * 160.0 * slant, rel=3e-3)  # chords of 0.2 mm


def test_the_draft_of_a_sphere_is_its_latitude() -> None:
    """The round end of a bar, pulled off along the bar: asin((x - 300) / 100), at every corner."""
    plan = frustum_plan([(0.0, 100.0), (400.0, 100.0)], rear=End(radius=100.0))
    one = parted(plan, **along("rear"))
    x = one.surface.corners[..., 0]
    is_ball = (x > 300.5).all(axis=1)
    draft = degrees(one.surface.normals[is_ball] @ np.array([1.0, 0.0, 0.0]))
    latitude = degrees((x[is_ball] - 300.0) / 100.0)
    away = np.abs(x[is_ball] - 400.0) > 2.0  # at the pole an asin is steep
    assert np.abs(draft - latitude)[away].max() < 0.7  # corners of split triangles lie on chords
    assert np.abs(np.sin(np.radians(draft)) - (x[is_ball] - 300.0) / 100.0).max() < 5e-3


@pytest.mark.parametrize("parting", ["centreline", 0.0])
def test_a_cylinder_split_in_the_middle_locks_nowhere(parting: str | float) -> None:
    """Its least draft is 0, at the parting; its line goes all round: twice its length, twice its width."""
    one = parted(frustum_plan([(0.0, 100.0), (400.0, 100.0)]), parting=parting)
    found = faces(one)
    assert {part for part, _ in found} == {part.name for part in one.mould.parts}
    assert max(face.locked_mm2 + face.hidden_mm2 for face in found.values()) == 0.0
    assert min(face.worst_deg for face in found.values()) == pytest.approx(0.0, abs=1e-6)
    assert one.length == pytest.approx(2.0 * 400.0 + 2.0 * 200.0, rel=1e-6)
    halves = [
        sum(f.area_mm2 for (part, _), f in found.items() if part == own.name) for own in one.mould.parts
    ]
    assert halves[0] == pytest.approx(halves[1], rel=1e-9)


def test_a_cylinder_split_off_its_middle_locks_by_the_angle() -> None:
    """At 50 of 100 mm over its middle: the lower part leans in by asin(0.5) there."""
    found = faces(parted(frustum_plan([(0.0, 100.0), (400.0, 100.0)]), "front", "rear", parting=50.0))
    worst = min(face.worst_deg for (part, _), face in found.items() if part == "lower half")
    assert worst == pytest.approx(-30.0, abs=0.5)  # the line cuts a chord
    locked = sum(face.locked_mm2 for face in found.values())
    assert locked == pytest.approx(2.0 * 100.0 * math.radians(30.0) * 400.0, rel=0.03)  # whole triangles


@pytest.mark.parametrize("lean_deg", [-5.0, 0.0, 5.0])
def test_a_wall_leans_as_it_is_drawn(lean_deg: float) -> None:
    """Back by 5 degrees it locks by 5, all of it; forward by 5 it has a draft of 5."""
    found = faces(parted(trough(lean_deg), "floor", "front", "rear"))
    for side in ("left side", "right side"):
        face = found["mould", side]
        assert face.worst_deg == pytest.approx(lean_deg, abs=1e-6)
        area = 400.0 * 100.0 / math.cos(math.radians(lean_deg))
        assert face.area_mm2 == pytest.approx(area, rel=1e-6)
        assert face.locked_mm2 == pytest.approx(area if lean_deg < 0.0 else 0.0, rel=1e-6)
        assert face.under_mm2 == pytest.approx(area if lean_deg == 0.0 else 0.0, rel=1e-6)
    assert found["mould", "deck"].worst_deg == pytest.approx(90.0, abs=1e-4)


def test_triangles_face_as_another_library_says() -> None:
    """The draft of every triangle against trimesh's normals, within what a chord of 0.2 mm turns."""
    one = parted(box_plan(400.0, 200.0, 150.0, radius=20.0, end_radius=30.0), "floor", parting="high")
    found = drafts_of(one)
    mesh = trimesh.Trimesh(one.surface.vertices, one.surface.triangles, process=False)
    ways = np.array([part.way for part in one.mould.parts])
    is_in = (one.part >= 0) & (mesh.area_faces > 1e-3)
    by_mesh = degrees(np.sum(mesh.face_normals * ways[one.part], axis=1))
    off = np.abs(by_mesh - found.draft_deg)[is_in]
    turn = math.degrees(2.0 * math.acos(1.0 - 0.2 / 20.0))  # of a chord, on the tightest blend
    assert off.max() < turn
    assert float(np.average(off, weights=mesh.area_faces[is_in])) < 0.5
    assert mesh.is_watertight


def test_a_named_line_parts_where_it_runs() -> None:
    """The upper corner of a sharp box: its deck above, its sides below, and a line round the deck."""
    one = parted(trough(0.0), "floor", parting="high")
    places = {
        part: {place for own, place in faces(one) if own == part} for part in ("upper half", "lower half")
    }
    assert places == {
        "upper half": {"deck"}, "lower half": {"left side", "right side", "front", "rear"},
    }  # fmt: skip
    assert one.length == pytest.approx(2.0 * 400.0 + 2.0 * 200.0, rel=1e-6)


def test_what_is_hidden_is_what_lies_under_a_ledge() -> None:
    """Plates of 100 and 60 mm square, one 10 mm over the other: 60 x 60 mm of the lower are hidden."""
    step = np.arange(100.0)
    x, y = (one.ravel() for one in np.meshgrid(step, step))
    z = np.zeros_like(x)
    low = np.stack([x, y, z, x + 1, y, z, x, y + 1, z], axis=1).reshape(-1, 3, 3)
    high = np.array([[(20, 20, 10), (80, 20, 10), (80, 80, 10)], [(20, 20, 10), (80, 80, 10), (20, 80, 10)]])
    corners = np.concatenate([low, high.astype(float)])
    up = np.tile([0.0, 0.0, 1.0], (len(corners), 1))
    found = covered(corners, np.arange(len(corners)), up, up[0])
    assert found.sum() == 60 * 60
    assert not found[-2:].any()
