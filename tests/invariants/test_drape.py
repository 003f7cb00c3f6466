"""What must hold for a cloth's net on any patch: it moves, grows and turns with the patch; its angles add up.

The rules are geometry's own; the last is the theorem of Gauss and Bonnet (from memory) on the mesh itself.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from plugs.drape.drape import Drape, drape
from plugs.drape.geodesic import make_surface
from tests.demos import EVERY
from tests.patches import Patch, patch_of

Array = NDArray[np.float64]


def hilly(seed: int, count: int = 40) -> Patch:
    """Return a square of 200 mm with smooth hills and hollows that nobody has chosen."""
    random = np.random.default_rng(seed)
    middles, heights = 200.0 * random.random((5, 2)), 30.0 * (random.random(5) - 0.4)

    def place(u: Array, v: Array) -> Array:
        x, y = 200.0 * u, 200.0 * v
        z = sum(
            h * np.exp(-((x - a) ** 2 + (y - b) ** 2) / 4000.0)
            for (a, b), h in zip(middles, heights, strict=True)
        )
        return np.stack([x, y, np.asarray(z)], axis=1)

    return patch_of(place, count, count)


SEEDS = range(4 if EVERY else 2)
"""Hilly patches; all if more cases are asked for."""


def shear_about(draped: Drape, reach: int) -> Array:
    """Return the shear of the cells within some steps of the start."""
    row, column = draped.middle
    return draped.shear_deg[row - reach : row + reach, column - reach : column + reach]


@pytest.mark.parametrize("seed", SEEDS)
def test_net_moves_with_its_patch(seed: int) -> None:
    """Turned, shifted, grown: the same angles, lengths in proportion."""
    vertices, triangles = hilly(seed)
    start, warp = np.array([93.0, 108.0, 0.0]), np.array([1.0, 0.35, 0.0])
    plain = drape((vertices, triangles), start=start, warp=warp, cell=5.0)
    turn = Rotation.from_rotvec([0.7, -0.4, 1.1]).as_matrix()
    scale, shift = 3.0, np.array([500.0, -200.0, 90.0])

    def moved(points: Array) -> Array:
        return np.asarray(scale * points @ turn.T + shift)

    other = drape((moved(vertices), triangles), start=moved(plain.start), warp=plain.warp @ turn.T, cell=15.0)
    assert other.net.tri.shape == plain.net.tri.shape
    inside = plain.counted & other.counted
    assert inside.sum() > 0.99 * plain.counted.sum()
    assert other.shear_deg[inside] == pytest.approx(plain.shear_deg[inside], abs=1e-2)
    assert other.warp_mm == pytest.approx(scale * plain.warp_mm)
    # the figure itself to a thousandth of a cell
    known = np.isfinite(plain.knots[..., 0]) & np.isfinite(other.knots[..., 0]) & ~plain.is_over
    assert np.abs(other.knots - moved(plain.knots))[known].max() < 1e-3 * other.cell


@pytest.mark.parametrize("seed", SEEDS)
def test_warp_and_weft_change_places(seed: int) -> None:
    """With the warp turned to where the weft was, the same net has rows for columns, and the other sign."""
    patch, start = hilly(seed), (93.0, 108.0, 0.0)
    first = drape(patch, start=start, warp=(1.0, 0.35, 0.0), cell=5.0)
    tri = first.net.tri[first.middle]
    normal = make_surface(*patch).normal[tri]
    second = drape(patch, start=start, warp=np.cross(normal, first.warp), cell=5.0)
    reach = 12
    turned = -shear_about(second, reach).T[::-1]
    assert turned == pytest.approx(shear_about(first, reach), abs=1e-2)


@pytest.mark.parametrize("seed", SEEDS)
def test_mirrored_patch_has_the_mirrored_net(seed: int) -> None:
    """Seen in a mirror, left is right and the shear has the other sign."""
    vertices, triangles = hilly(seed)
    flip = np.array([1.0, -1.0, 1.0])
    plain = drape((vertices, triangles), start=(93.0, 108.0, 0.0), warp=(1.0, 0.35, 0.0), cell=5.0)
    other = drape(
        (vertices * flip, triangles[:, ::-1]), start=plain.start * flip, warp=plain.warp * flip, cell=5.0
    )
    reach = 12
    assert -shear_about(other, reach)[:, ::-1] == pytest.approx(shear_about(plain, reach), abs=1e-2)


@pytest.mark.parametrize("seed", SEEDS)
def test_cells_keep_their_sides_and_knots_lie_on_the_patch(seed: int) -> None:
    """No chord is longer than the thread, hardly any shorter by more than the hills bend it."""
    draped = drape(hilly(seed), start=(93.0, 108.0, 0.0), cell=4.0)
    inside = np.where(draped.is_over[..., None], np.nan, draped.knots)
    for step in (np.diff(inside, axis=0), np.diff(inside, axis=1)):
        ratio = np.linalg.norm(step, axis=2) / draped.cell
        ratio = ratio[np.isfinite(ratio)]
        assert ratio.max() < 1.0 + 1e-4
        assert ratio.min() > 0.97
    assert draped.misfit_ratio < 1e-3
    assert draped.reached_ratio > 0.97


@pytest.mark.parametrize("seed", SEEDS)
def test_angles_of_the_cells_hold_the_curvature_beneath(seed: int) -> None:
    """What all corners of all cells exceed 360 degrees by is what the angles about the vertices lack.

    Both sides are summed over the same square of cells about the start: the angles in the net's
    planes, and the angles of the triangles about each vertex that lies within the square seen from above.
    """
    vertices, triangles = hilly(seed, 80)
    draped = drape((vertices, triangles), start=(93.0, 108.0, 0.0), warp=(1.0, 0.35, 0.0), cell=5.0)
    reach, (row, column) = 12, draped.middle
    low, high, left, right = row - reach, row + reach, column - reach, column + reach
    warp, weft = draped.net.warp, draped.net.weft

    def opening(i: int, j: int, weft_end: int, warp_end: int) -> float:
        """Return the angle between the threads at one corner of the square, inside the square."""
        across = weft[weft_end][i, j - (weft_end == 1)]
        along = warp[warp_end][i - (warp_end == 1), j]
        return float(np.angle(across / along))

    # thread angle at two corners, its supplement at the other two
    excess = opening(low, left, 0, 0) + opening(high, right, 1, 1)
    excess -= opening(high, left, 0, 1) + opening(low, right, 1, 0)
    sides = [draped.knots[low:high, left], draped.knots[high, left:right]]
    sides += [draped.knots[high:low:-1, right], draped.knots[low, right:left:-1]]
    outline = shapely.Polygon(np.concatenate(sides)[:, :2])
    lacking = np.zeros(len(vertices))
    for corner in range(3):
        a, b, c = (vertices[np.roll(triangles, -corner, axis=1)[:, k]] for k in range(3))
        cosine = np.einsum("ij,ij->i", b - a, c - a)
        cosine /= np.linalg.norm(b - a, axis=1) * np.linalg.norm(c - a, axis=1)
        np.add.at(lacking, triangles[:, corner], np.arccos(cosine))
    within = shapely.contains_xy(outline, vertices[:, 0], vertices[:, 1])
    beneath = float((2.0 * np.pi - lacking[within]).sum())
    # the threads of the outline turn at the knots: by as much as they bend, which is not nothing
    bend = _bending(draped, (low, high, left, right))
    assert excess - bend == pytest.approx(beneath, abs=0.01)


def _bending(draped: Drape, square: tuple[int, int, int, int]) -> float:
    """Return by how much the outline of a square of cells turns to the left at the knots along its sides."""
    low, high, left, right = square
    warp, weft = draped.net.warp, draped.net.weft
    total = 0.0
    for i in range(low + 1, high):
        total += float(np.angle(warp[0][i, left] / warp[1][i - 1, left]))
        total -= float(np.angle(warp[0][i, right] / warp[1][i - 1, right]))
    for j in range(left + 1, right):
        total += float(np.angle(weft[0][high, j] / weft[1][high, j - 1]))
        total -= float(np.angle(weft[0][low, j] / weft[1][low, j - 1]))
    return total
