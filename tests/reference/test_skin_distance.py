"""The foam under a skin against closed forms, and against distances measured by another library.

Sources. Steiner's formula (M): a box a x b x c rounded by r is its core, smaller by 2 r each way, grown
by r, with V = abc + S r + pi (a + b + c) r^2 + 4/3 pi r^3 and S = 2 (ab + bc + ca) + 2 pi (a + b + c) r +
4 pi r^2 of the core's a, b, c; 300 x 200 x 100 and r = 20: 5 804 696.11 mm3, 198 945.13 mm2 (D). Foam under a
skin of d is the same core grown by r - d. Cone frustum (M): V = pi h / 3 (R1^2 + R1 R2 + R2^2), side
pi (R1 + R2) times the slant; its parallel at depth d has its radii less by d over the cosine of the half
angle (D). Distance of parallel surfaces: closest-point query of trimesh (MIT), run beside ours.
"""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
import trimesh

from plugs.body.body import make_solid
from plugs.body.proof import integrate
from plugs.lines.section import Corner, End, LinesPlan, Station
from plugs.mesh import mesh
from tests.demos import some
from tests.shapes import box_plan, crowned_plan, frustum_plan, tapered_plan, wigley_plan
from tests.skins import laid, largest_by_trimesh, limit_of, measured_by_trimesh

BOX = (300.0, 200.0, 100.0)
MESH_MM = 0.04
"""Chords of the triangulated surfaces, both together."""


def rounded_box(sides: tuple[float, float, float], radius: float) -> tuple[float, float]:
    """Return volume and area of a box rounded on all its edges (Steiner)."""
    a, b, c = (side - 2.0 * radius for side in sides)
    flat = 2.0 * (a * b + b * c + c * a)
    volume = a * b * c + flat * radius + math.pi * (a + b + c) * radius**2 + 4.0 / 3.0 * math.pi * radius**3
    return volume, flat + 2.0 * math.pi * (a + b + c) * radius + 4.0 * math.pi * radius**2


def frustum(length: float, first: float, last: float) -> tuple[float, float]:
    """Return volume and area of a cone frustum with its two flat ends."""
    volume = math.pi * length / 3.0 * (first**2 + first * last + last**2)
    side = math.pi * (first + last) * math.hypot(length, first - last)
    return volume, side + math.pi * (first**2 + last**2)


@pytest.mark.parametrize(
    ("radius", "depth"), [(20.0, 5.0), (20.0, 0.5), (20.0, 19.9), (8.0, 4.0), (49.0, 30.0)]
)
def test_rounded_box_shrinks_by_steiner(radius: float, depth: float) -> None:
    """Volume and area of the foam are those of the same core grown by r - d.

    The proof's search is slow where the skin is nearly as thick as a blend's radius: then it tells of 0.5 %.
    """
    if radius == 20.0:
        assert rounded_box(BOX, radius) == pytest.approx((5_804_696.11, 198_945.13), abs=0.005)
    skinned = laid(box_plan(*BOX, radius=radius, end_radius=radius), depth)
    found = integrate(skinned.foam)
    a, b, c = (side - 2.0 * depth for side in BOX)
    volume, area = rounded_box((a, b, c), radius - depth)
    assert found.volume_mm3 == pytest.approx(volume, rel=1e-8)
    assert found.area_mm2 == pytest.approx(area, rel=1e-8)
    assert skinned.proof.largest_mm < (0.005 * depth if radius - depth < 1.0 else 1e-3)


@pytest.mark.parametrize("depth", [0.5, 3.0, 12.0])
@pytest.mark.parametrize("ends", [(100.0, 60.0), (60.0, 100.0), (80.0, 80.0)])
def test_cone_and_cylinder_shrink_square_to_themselves(depth: float, ends: tuple[float, float]) -> None:
    """A round bar: radii less d over the cosine of the half angle, both ends moved by d."""
    length = 200.0
    skinned = laid(frustum_plan([(0.0, ends[0]), (length, ends[1])]), depth)
    slope = (ends[1] - ends[0]) / length
    less = depth * math.hypot(1.0, slope)
    volume, area = frustum(
        length - 2.0 * depth, ends[0] + slope * depth - less, ends[1] - slope * depth - less
    )
    found = integrate(skinned.foam)
    assert found.volume_mm3 == pytest.approx(volume, rel=1e-6)
    assert found.area_mm2 == pytest.approx(area, rel=1e-6)


def round_nosed(sign: float) -> LinesPlan:
    """Return a part with blended and raked ends, tapered, with a station that stands out."""
    rear = End(radius=12.0, rake_deg=10.0 * sign)
    return tapered_plan(radius=15.0, front=End(radius=20.0), rear=rear, bays="faired", bulge=8.0)


PARTS = {
    "tapered, sharp": tapered_plan(),
    "tapered, with a kink": tapered_plan(bulge=20.0),
    "tapered, round ends": tapered_plan(radius=15.0, front=End(radius=20.0), rear=End(radius=12.0)),
    "raked out": tapered_plan(radius=15.0, rear=End(rake_deg=12.0)),
    "raked in": tapered_plan(radius=15.0, front=End(rake_deg=-12.0)),
    "faired, round and raked": round_nosed(1.0),
    "faired, round, raked in": round_nosed(-1.0),
    "crowns, fair lines, raked": crowned_plan(),
    "fair hull with two ridges": wigley_plan(8, 4, bays="faired"),
}


@pytest.mark.parametrize(("name", "depth"), [*product(PARTS, (4.0,)), *product(some(list(PARTS), 3), (1.0,))])
def test_distance_by_trimesh(name: str, depth: float) -> None:
    """Foam lies as deep as asked within 0.1 mm or 6 %, and what the proof says of it is the truth.

    Where an end's blend meets an edge's blend on a tapered part neither is a ball's surface, and the
    parallel is up to 6 % off. The proof may not tell less than trimesh finds by more than the chords of
    the triangles.
    """
    skinned = laid(PARTS[name], depth)
    truth, asked, place = largest_by_trimesh(skinned)
    assert asked == depth
    assert truth <= max(0.1, 0.06 * depth) + MESH_MM, place
    assert skinned.proof.largest_mm >= truth - MESH_MM
    if truth > limit_of(depth) + MESH_MM:
        assert skinned.proof.largest_mm > limit_of(depth)


@pytest.mark.parametrize("name", ["tapered, sharp", "tapered, with a kink"])
def test_distance_of_plain_panels(name: str) -> None:
    """Without blends where an end and an edge meet, only the twist of panels and kinks of lines are left.

    At a kink four surfaces meet, and four parallels seldom meet in one point: 2 % of the depth.
    """
    skinned = laid(PARTS[name], 3.0)
    assert largest_by_trimesh(skinned)[0] < MESH_MM
    assert skinned.proof.largest_mm < 0.06


@pytest.mark.parametrize(
    "bare", [("floor",), ("deck", "front"), ("side", "rear"), ("floor", "front", "rear")]
)
@pytest.mark.parametrize("bays", ["straight", "faired"])
def test_bare_panels_and_ends_stay(bare: tuple[str, ...], bays: str) -> None:
    """Distance 0 where nothing is laid; as deep as asked elsewhere."""
    plan = tapered_plan(radius=0.0, bays=bays, bulge=6.0, rear=End(rake_deg=8.0))
    skinned = laid(plan, 3.0, no_laminate=bare)
    points, distance, asked = measured_by_trimesh(skinned, 1200)
    assert set(asked.tolist()) == {0.0, 3.0}
    assert np.abs(distance - asked).max() < 0.1, points[np.argmax(np.abs(distance - asked))]
    assert skinned.proof.largest_mm < 0.1


def test_thicknesses_by_panel() -> None:
    """3 mm on the deck, 1 mm on the sides, 2 mm elsewhere, and half a millimetre of filler on all of them."""
    skinned = laid(tapered_plan(), 2.0, by_panel={"deck": 3.0, "side": 1.0}, filler=0.5)
    _, distance, asked = measured_by_trimesh(skinned, 1500)
    assert set(asked.tolist()) == {1.5, 2.5, 3.5}
    assert np.abs(distance - asked).max() < MESH_MM


def flared(tip: float) -> LinesPlan:
    """Return a part that runs out forward to an upright ridge, more open above than below."""
    return LinesPlan(
        stations=[
            Station(x=0.0, corners={"low": Corner(0.0, 0.0), "edge": Corner(0.0, 80.0 + tip)}),
            Station(x=300.0, corners={"low": Corner(60.0, 0.0), "edge": Corner(110.0, 80.0)}),
        ],
    )


@pytest.mark.parametrize("tip", [0.0, -30.0])
def test_ridge_is_all_skin(tip: float) -> None:
    """Towards a ridge the part is thinner than two skins: the foam ends in a flat before it."""
    skinned = laid(flared(tip), 2.0)
    truth, _, place = largest_by_trimesh(skinned)
    assert truth < limit_of(2.0), place
    # where both skins meet on the centreline: depth over the sine of the half angle
    half_angle = math.atan(60.0 / 300.0)
    assert skinned.foam.breaks[0] == pytest.approx(2.0 / math.sin(half_angle), abs=1.0)


def test_wedge_with_plain_sides() -> None:
    """An upright wedge: the foam's ridge lies d over the sine of the half angle, within the halving."""
    stations = [
        Station(x=0.0, corners={"low": Corner(0.0, 0.0), "edge": Corner(0.0, 80.0)}),
        Station(x=300.0, corners={"low": Corner(90.0, 0.0), "edge": Corner(90.0, 80.0)}),
    ]
    skinned = laid(LinesPlan(stations=stations), 4.0)
    ridge = 4.0 / math.sin(math.atan(0.3))
    assert ridge <= skinned.foam.breaks[0] < ridge + 0.2
    assert skinned.proof.largest_mm < 1e-6
    width = 2.0 * (0.3 * 300.0 - 0.3 * 4.0 - 4.0 * math.hypot(1.0, 0.3))
    assert np.ptp(skinned.foam.sections(skinned.foam.breaks[[-1]]).corners[0, :, 0]) == pytest.approx(width)


def test_meshes_of_a_build_lie_apart_by_the_skin() -> None:
    """The meshes themselves, as they are exported: every vertex of the foam, measured by trimesh."""
    skinned = laid(tapered_plan(radius=15.0), 2.5)
    outer, inner = (
        mesh.triangles_of(make_solid(loft, (), (), 0.02).body) for loft in (skinned.finish, skinned.foam)
    )
    surface = trimesh.Trimesh(*outer, process=False)
    vertices = inner[0]
    chosen = np.random.default_rng(1).choice(len(vertices), min(500, len(vertices)), replace=False)
    _, distance, _ = trimesh.proximity.closest_point(surface, vertices[chosen])
    assert np.abs(distance - 2.5).max() < 0.02 + limit_of(2.5)
    assert np.median(np.abs(distance - 2.5)) < 0.02
