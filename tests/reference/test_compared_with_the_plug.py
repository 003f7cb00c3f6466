"""What was measured, laid on a plug and told: against general-purpose libraries and closed forms.

- Distances: trimesh's closest point and signed side on analytic bodies.
- Pairs of points: `scipy.spatial.transform.Rotation.align_vectors`, which solves Wahba's problem its own way.
- Rigid motions: known ones, given to points with 0.2 mm of noise, 30 % of which are somewhere else.
- A bump: height, area and volume of a cone's and of a bell's shape by closed form, derived here.
- Files of scans: written by trimesh (STL, PLY, OBJ), read here.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from plugs.comparing.aligning import ON_BOARD, fitted, fitted_pairs
from plugs.comparing.comparison import Ask, Comparison, compare
from plugs.comparing.field import field_of, medians, patches_of
from plugs.comparing.laying import BEST, PROBED
from plugs.comparing.reading import SCAN, Measured
from plugs.comparing.scans import scan_points
from plugs.comparing.surface import Nearest, Surface, neighbours_first
from plugs.ground.errors import PlugError
from tests.demos import at_defaults

Array = NDArray[np.float64]

NOISE = 0.2  # mm
ASTRAY = 0.3  # of the points
WITHIN_MM, WITHIN_DEG = 0.01, 0.01


def surface_of(shape: trimesh.Trimesh) -> Surface:
    """Return a mesh of trimesh as the surface that is compared with."""
    return Surface(vertices=np.array(shape.vertices), triangles=np.array(shape.faces, dtype=np.int64))


def strewn(surface: Surface, count: int, seed: int = 1) -> tuple[Array, Array]:
    """Return points all over a surface, by its area, and the outward normals there."""
    chance = np.random.default_rng(seed)
    way, area = surface.normals
    cells = chance.choice(len(area), count, p=area / area.sum())
    return np.einsum("ij,ijk->ik", chance.dirichlet([1.0, 1.0, 1.0], count), surface.corners[cells]), way[
        cells
    ]


WEDGE = trimesh.convex.convex_hull(
    np.array([[0, -300, 0], [0, 300, 0], [0, -200, 220], [0, 180, 260], [900, -260, 0], [900, 240, 0],
              [850, -150, 180], [870, 170, 150]], dtype=float)
)  # fmt: skip
"""A body without any symmetry, of plane faces."""


@pytest.mark.parametrize(
    "shape",
    [
        trimesh.creation.box((200.0, 120.0, 60.0)),
        trimesh.creation.icosphere(subdivisions=3, radius=80.0),
        trimesh.creation.cylinder(radius=50.0, height=400.0, sections=48),
        trimesh.creation.cone(radius=60.0, height=150.0, sections=40),
        WEDGE,
    ],
    ids=["box", "sphere", "cylinder", "cone", "wedge"],
)
def test_distances_are_those_of_another_library(shape: trimesh.Trimesh) -> None:
    """Near faces, sides and corners, inside and outside, to the last digits."""
    surface = surface_of(shape)
    chance = np.random.default_rng(5)
    on, _ = strewn(surface, 300)
    corners = np.array(shape.vertices)[chance.integers(0, len(shape.vertices), 100)]
    points = np.concatenate(
        [on + chance.normal(0.0, 3.0, on.shape), corners + chance.normal(0.0, 5.0, (100, 3))]
    )
    found = surface.nearest(points, 40.0)
    feet, far, _ = trimesh.proximity.closest_point(shape, points)
    assert found.is_near.all()
    assert np.abs(np.abs(found.off) - far).max() < 1e-9
    assert np.linalg.norm(found.feet - feet, axis=1).max() < 1e-6
    clear = far > 1e-6
    assert (
        np.sign(found.off)[clear] == -np.sign(trimesh.proximity.signed_distance(shape, points))[clear]
    ).all()
    beyond = surface.nearest(points + 1000.0, 40.0)
    assert not beyond.is_near.any() and np.isinf(beyond.off).all()


_TREE = """import sys
import numpy as np
from plugs.comparing.surface import tree_of
points = np.random.default_rng(1).random((500, 3))
found = tree_of(points).query(points[:50] + 0.01, k=3, distance_upper_bound=0.2)
assert "scipy.sparse" not in sys.modules and "scipy._lib._util" not in sys.modules
from scipy.spatial import KDTree
theirs = KDTree(points, balanced_tree=False).query(points[:50] + 0.01, k=3, distance_upper_bound=0.2)
assert all(np.array_equal(one, other) for one, other in zip(found, theirs))
assert tree_of(points).sparse_distance_matrix(tree_of(points), 0.1).shape == (500, 500)
"""


def test_a_tree_loads_no_more_than_it_needs() -> None:
    """It finds the same as when all round it is loaded, and that can be loaded afterwards."""
    subprocess.run([sys.executable, "-c", _TREE], check=True)


def test_points_are_ordered_by_the_bits_of_their_places_in_turn() -> None:
    """Morton's order, bit by bit as he gives it."""
    points = np.random.default_rng(2).integers(0, 1024, (500, 3)).astype(float)
    points[:2] = [[0.0, 0.0, 0.0], [1024.0, 1024.0, 1024.0]]  # of 1024 steps, each 1 mm
    bits = [[f"{min(int(v), 1023):010b}" for v in place[::-1]] for place in points]
    keys = np.array([int("".join(z + y + x for z, y, x in zip(*of, strict=True)), 2) for of in bits])
    assert (neighbours_first(points) == np.argsort(keys, kind="stable")).all()


def test_medians_of_what_is_there_are_those_of_another_library() -> None:
    """numpy.nanmedian, for odd and even counts, one alone, and rows in any order."""
    chance = np.random.default_rng(4)
    rows = np.where(chance.random((300, 9)) < 0.4, np.nan, chance.normal(size=(300, 9)))
    rows[:, 3] = chance.normal(size=300)
    assert (medians(rows) == np.nanmedian(rows, axis=1)).all()


def test_pairs_are_laid_as_by_another_library() -> None:
    """Turn and miss of datum points, with and without noise."""
    chance = np.random.default_rng(7)
    for count in (3, 4, 12):
        there = chance.uniform(-500.0, 500.0, (count, 3))
        turn = Rotation.random(random_state=count)
        here = turn.inv().apply(there - [100.0, 5.0, -30.0]) + chance.normal(0.0, 0.3, (count, 3))
        pose, misses = fitted_pairs(here, there)
        other, rssd = Rotation.align_vectors(there - there.mean(axis=0), here - here.mean(axis=0))
        assert np.abs(pose.turn - other.as_matrix()).max() < 1e-9
        assert np.sqrt((misses**2).sum()) == pytest.approx(rssd, rel=1e-6)


def _moved(
    surface: Surface, keep: Array | None, angles: tuple[float, ...], move: tuple[float, ...]
) -> tuple[Array, Rotation]:
    """Return points with noise, a third of them astray, that a known motion has carried off."""
    points, _ = strewn(surface, 40_000, seed=3)
    chance = np.random.default_rng(11)
    points = points + chance.normal(0.0, NOISE, points.shape)
    low, high = surface.vertices.min(axis=0) - 50.0, surface.vertices.max(axis=0) + 50.0
    astray = chance.random(len(points)) < ASTRAY
    points[astray] = chance.uniform(low, high, (int(astray.sum()), 3))
    if keep is not None:
        points = points[points @ keep > 0.0]
    turn = Rotation.from_euler("xyz", angles, degrees=True)
    return turn.inv().apply(points - np.array(move)), turn


@pytest.mark.parametrize(
    ("keep", "angles", "move", "locked"),
    [
        (None, (120.0, 40.0, -70.0), (1000.0, -2000.0, 500.0), ()),
        ((1.0, 0.0, -1.2), (2.0, -1.5, 3.0), (10.0, -20.0, 5.0), ()),
        (None, (0.0, 0.0, 30.0), (30.0, -20.0, 0.0), ON_BOARD),
    ],
    ids=["anywhere", "a part of it", "on its board"],
)
def test_rigid_motions_come_back(
    keep: tuple[float, ...] | None,
    angles: tuple[float, ...],
    move: tuple[float, ...],
    locked: tuple[str, ...],
) -> None:
    """To 0.01 mm in the middle and 0.01 degrees, and no farther off than it claims by three deviations."""
    surface = surface_of(WEDGE)
    points, turn = _moved(surface, None if keep is None else np.array(keep), angles, move)
    found = fitted(points, surface, locked)
    apart = Rotation.from_matrix(found.pose.turn @ turn.as_matrix().T)
    middle = surface.vertices.mean(axis=0)
    miss = found.pose.of(turn.inv().apply(middle[None] - np.array(move)))[0] - middle
    assert np.degrees(apart.magnitude()) < WITHIN_DEG
    assert np.abs(miss).max() < WITHIN_MM
    assert found.scale == pytest.approx(NOISE, rel=0.1)
    assert found.counted == pytest.approx(1.0 - ASTRAY, abs=0.05)
    assert np.abs(miss).max() < 4.0 * max(found.sure[:3].max(), 0.002)
    for way, sure in zip(("x", "y", "z", "about-x", "about-y", "about-z"), found.sure, strict=True):
        assert (sure == 0.0) == (way in locked)


def test_a_bump_is_found_with_its_height_area_and_volume() -> None:
    """A cone 4 mm high and 40 mm in radius on a plate: where it is over 1 mm, r = 30 mm.

    Over the height t the radius is R (1 - t / h): area pi 30^2, volume of the deviation there
    pi 30^2 1 + pi 30^2 3 / 3 = 2 pi 900.
    """
    side = 400.0
    plate = trimesh.creation.box((side, side, 50.0)).subdivide_to_size(8.0)
    cells = surface_of(plate)
    points, way = strewn(cells, 80_000)
    off = np.where(
        way[:, 2] > 0.5, np.maximum(4.0 - np.hypot(points[:, 0] - 60.0, points[:, 1] + 30.0) / 10.0, 0.0), 0.0
    )
    near = surface_of(trimesh.creation.box((side, side, 50.0))).nearest(points + off[:, None] * way, 20.0)
    (patch,) = patches_of(field_of(cells, near), 1.0)
    assert patch.is_high
    assert patch.peak == pytest.approx(4.0, abs=0.4)
    assert np.hypot(patch.at[0] - 60.0, patch.at[1] + 30.0) < 6.0 and patch.at[2] == pytest.approx(25.0)
    assert patch.area_mm2 == pytest.approx(np.pi * 900.0, rel=0.05)
    assert patch.volume_mm3 == pytest.approx(2.0 * np.pi * 900.0, rel=0.05)


AWAY = np.array([20.0, 5.0, 9.0])


def _scan_of_the_demo(count: int = 40_000, *, is_home: bool = False) -> Array:
    """Return the demo's finished surface with a bell 3 mm high on its deck at x = 600, y = 150."""
    from plugs.comparing.surface import make_surface

    points, way = strewn(make_surface(at_defaults("sidecar_tail").finish.body), count)
    far = np.hypot(points[:, 0] - 600.0, points[:, 1] - 150.0) / 60.0
    bell = np.where(way[:, 2] > 0.7, 3.0 * np.exp(-2.0 * far**2), 0.0)
    turn, move = Rotation.from_euler("z", 0.0 if is_home else 3.0, degrees=True), 0.0 if is_home else AWAY
    return np.asarray(turn.apply(points + bell[:, None] * way) + move)


def _compared(points: Array, how: str = BEST, **more: object) -> Comparison:
    """Return points compared with the demo's finished surface."""
    measured = Measured(name="scan.xyz", kind=SCAN, points=points, labels=(), gaps=(), notes=())
    words = {"against": "finished", "how": how, "locked": (), "tolerance": 0.5} | more
    return compare(at_defaults("sidecar_tail"), measured, Ask(**words))  # type: ignore[arg-type]


def test_the_demo_tells_its_bump_in_words() -> None:
    """Bay, panel and distances; height within the cells' size; volume over 0.5 mm: pi r2 / 2 (h - t)."""
    found = _compared(_scan_of_the_demo())
    (worst, *_) = found.worst
    assert worst.place.startswith("bay 2, deck, x = ") and "to the right of the centreline" in worst.place
    assert np.hypot(worst.patch.at[0] - 600.0, worst.patch.at[1] - 150.0) < 15.0
    assert worst.patch.peak == pytest.approx(3.0, abs=0.25)
    assert worst.patch.volume_mm3 == pytest.approx(np.pi * 60.0**2 / 2.0 * (3.0 - 0.5), rel=0.08)
    assert worst.advice.startswith("take off ") and "flat block" in worst.advice
    figures = found.figures()
    assert abs(figures["median_mm"]) < 0.02
    assert figures["within_ratio"] > 0.98


@pytest.mark.parametrize("ending", [".stl", ".ply", ".obj", ".xyz"])
def test_scans_of_another_library_are_read(ending: str, tmp_path: Path) -> None:
    """Every corner once, wherever it stands in the file."""
    path = tmp_path / f"scan{ending}"
    if ending == ".xyz":
        path.write_text(
            "x;y;z\n" + "\n".join(f"{x};{y};{z};1" for x, y, z in WEDGE.vertices), encoding="ascii"
        )
    else:
        WEDGE.export(path)
    found = scan_points(path)
    assert len(found) == len(WEDGE.vertices)
    order, own = np.lexsort(found.round(3).T), np.lexsort(np.array(WEDGE.vertices).round(3).T)
    assert np.abs(found[order] - np.array(WEDGE.vertices)[own]).max() < 1e-4


def _faulty(points: Array, **more: object) -> PlugError:
    """Return the error of points that cannot be compared."""
    with pytest.raises(PlugError) as caught:
        _compared(points, **more)  # type: ignore[arg-type]
    return caught.value


def test_what_does_not_hold_it_is_refused() -> None:
    """Points on one plane, and a round rod about its axis: each says what is free, and how to hold it."""
    points, _ = strewn(surface_of(WEDGE), 5)
    assert "so few" in _faulty(points).reason
    deck = _scan_of_the_demo(20_000)
    deck = deck[(deck[:, 2] > 9.0 + 300.0) & (deck[:, 0] < 350.0) & (deck[:, 0] > 100.0)]
    error = _faulty(deck)
    assert "do not hold it" in error.reason and "--lock" in error.remedy
    rod = surface_of(trimesh.creation.cylinder(radius=50.0, height=400.0, sections=400))
    found = fitted(strewn(rod, 20_000)[0], rod)
    assert found.hold < 1e-3
    assert abs(found.weakest[5]) > 0.99, "it turns about z"


def test_units_mirrors_and_far_points_are_told() -> None:
    """A scan in inches or cm, one in left-handed axes, one somewhere else: each says what it is."""
    scan = _scan_of_the_demo(20_000)
    for scale, name in ((25.4, "inches"), (10.0, "cm"), (1000.0, "metres")):
        error = _faulty(scan / scale)
        assert error.param == "unit" and name in error.reason
    at_home = _scan_of_the_demo(20_000, is_home=True)
    assert "in inches" in _faulty(at_home / 25.4, how=PROBED).reason
    flipped = at_home * np.array([1.0, 1.0, -1.0])
    assert "left-handed" in _faulty(flipped, how=PROBED).reason
    assert "does not lie on the plug" in _faulty(at_home + 900.0, how=PROBED).reason


def test_a_scan_without_any_place_on_the_plug_is_no_nearest() -> None:
    """No point in reach leaves every triangle grey."""
    cells = surface_of(trimesh.creation.box((100.0, 100.0, 100.0)))
    none = Nearest(
        feet=np.empty((0, 3)), off=np.empty(0), cells=np.empty(0, dtype=np.int64), ways=np.empty((0, 3))
    )
    field = field_of(cells, none)
    assert not field.is_known.any() and patches_of(field, 0.1) == []
