"""A cloth's net on patches: threads, knots, shear, what is done where it locks, and the picture.

Closed forms are textbook geometry (unrolled cylinder and cone); shear signs follow from the curvature.
"""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from io import StringIO

import ezdxf
import numpy as np
import pytest
from numpy.typing import NDArray

from plugs.body.body import make_solid
from plugs.drape.darts import darts_for, shear_with_darts
from plugs.drape.drape import LOCK_DEG, WARN_DEG, Asked, Drape, drape, drapes
from plugs.drape.geodesic import (
    Surface,
    direction,
    holes_closed,
    locate,
    make_surface,
    middle_of,
    overhang,
    positions,
    rim_loops,
)
from plugs.drape.net import NetStart, PinJointedNet
from plugs.drape.remedies import Remedies, better_start, drape_findings, remedies_for, split_zone
from plugs.drape.thread import crossings_of, pull_thread, run_threads
from plugs.files.dxf import render_dxf
from plugs.files.svg import render_svg
from plugs.ground.errors import PlugError
from plugs.mesh.mesh import triangles_of
from plugs.subjects.drape import drape_drawing
from tests.demos import at_defaults
from tests.patches import bowl, cone, flat, half_cylinder, hemisphere, without

Array = NDArray[np.float64]


@pytest.fixture(scope="module")
def dome() -> Surface:
    """Return a hemisphere of 100 mm."""
    return make_surface(*hemisphere(100.0))


@pytest.fixture(scope="module")
def laid(dome: Surface) -> Drape:
    """Return the net on it from the pole, in coarse cells."""
    return drape(dome, start=(0, 0, 100), warp=(1.0, 0.2, 0.0), cell=6.0)


@pytest.fixture(scope="module")
def remedies(dome: Surface, laid: Drape) -> Remedies:
    """Return what is to be done about that net."""
    found = remedies_for(dome, laid)
    assert found is not None
    return found


# ---- the surface


def test_triangles_are_hinged_side_to_side() -> None:
    """Both ends of a shared side are the same points in the planes of both triangles."""
    surface = make_surface(*hemisphere(50.0, 12, 6))
    tri, side = np.nonzero(surface.beside >= 0)
    for corner in (side, (side + 1) % 3):
        here = surface.corners[tri, corner]
        there = surface.turn[tri, side] * here + surface.shift[tri, side]
        ahead = surface.beside[tri, side]
        assert positions(surface, ahead, there) == pytest.approx(positions(surface, tri, here), abs=1e-9)


def test_area_and_edge_of_a_hemisphere(dome: Surface) -> None:
    """2 pi R^2 and one edge of 2 pi R, less the facets; the pole, where vertices coincide, is closed."""
    assert dome.areas_mm2.sum() == pytest.approx(2.0 * np.pi * 100.0**2, rel=1e-3)
    (loop,) = rim_loops(dome)
    ring = dome.vertices[loop]
    assert np.linalg.norm(ring - np.roll(ring, 1, axis=0), axis=1).sum() == pytest.approx(628.3, abs=0.2)
    # with the patch on the left seen from outside: anti-clockwise seen from above
    assert ring[0, 0] * ring[1, 1] > ring[0, 1] * ring[1, 0]


def test_nearest_point_and_middle() -> None:
    """A point beside, above and beyond a flat patch finds its foot."""
    surface = make_surface(*flat(100.0, 60.0))
    for point, foot in (((33.3, 20.1, 9.0), (33.3, 20.1, 0.0)), ((130.0, -5.0, -4.0), (100.0, 0.0, 0.0))):
        tri, at = locate(surface, np.array(point))
        assert positions(surface, np.array([tri]), np.array([at]))[0] == pytest.approx(foot, abs=1e-9)
    assert middle_of(surface) == pytest.approx((50.0, 30.0, 0.0), abs=1e-9)


def test_a_patch_that_is_none_is_refused() -> None:
    """No triangles, and two that face opposite ways, are broken promises."""
    vertices, triangles = flat(10.0, 10.0, 2, 2)
    with pytest.raises(AssertionError, match="needs triangles"):
        make_surface(vertices, triangles[:0])
    with pytest.raises(AssertionError, match="same way round"):
        make_surface(vertices, np.concatenate([triangles, triangles[:1]]))


def test_holes_are_closed_and_the_edge_stays_open() -> None:
    """A plate with two holes becomes whole, its area that of the rectangle."""
    patch = without(
        flat(100.0, 60.0),
        lambda m: (np.hypot(m[:, 0] - 30, m[:, 1] - 30) < 12) | (np.hypot(m[:, 0] - 70, m[:, 1] - 30) < 12),
    )
    assert len(rim_loops(make_surface(*patch))) == 3
    closed = make_surface(*holes_closed(*patch))
    assert len(rim_loops(closed)) == 1
    assert closed.areas_mm2.sum() == pytest.approx(6000.0)
    assert closed.normal[closed.areas_mm2 > 1e-6, 2].min() > 0.999


# ---- threads


@pytest.mark.parametrize("turn_deg", [0.0, 20.0, 45.0, 90.0])
def test_thread_on_a_cylinder_is_a_helix(turn_deg: float) -> None:
    """Unrolled, it is a straight line: exactly so on the facets, whatever vertices it meets."""
    radius, rows = 100.0, 60
    surface = make_surface(*half_cylinder(radius, 300.0, 20, rows))
    facet = 2.0 * radius * np.sin(3.0 / rows / 2.0)
    tri, at = locate(surface, np.array([30.0, 0.0, radius]))
    way = np.array([np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg)), 0.0])
    # square to the facet that the start is found on, which leans by half a facet
    seen = direction(surface, tri, way)
    along = seen.real * surface.along[tri] + seen.imag * surface.across[tri]
    thread = pull_thread(surface, tri, at, seen, spacing=5.0, most=25)
    knots = positions(surface, thread.tri, thread.at)
    turn = np.arctan2(knots[:, 1], knots[:, 2]) / (3.0 / rows)
    whole = np.floor(turn + 1e-9)
    part = (turn - whole) * 3.0 / rows - 1.5 / rows
    around = facet * whole + facet / 2.0 * (1.0 + np.tan(part) / np.tan(1.5 / rows))
    length = 5.0 * np.arange(1, len(knots) + 1)
    assert knots[:, 0] - 30.0 == pytest.approx(length * along[0], abs=1e-6)
    assert around == pytest.approx(length * np.sqrt(1.0 - along[0] ** 2), abs=1e-6)


def test_thread_through_a_vertex_leaves_the_same_angle_on_both_sides() -> None:
    """Along a meridian of a cone and over its apex it goes on along the meridian opposite."""
    surface = make_surface(*cone(30.0, 0.0, 100.0, rows=4, columns=16))
    start = surface.vertices[np.argmin(np.linalg.norm(surface.vertices - [43.3, 0, -25], axis=1))]
    tri, at = locate(surface, start)
    way = direction(surface, tri, -start)
    thread = pull_thread(surface, tri, at, way, spacing=10.0, most=14)
    knots = positions(surface, thread.tri, thread.at)
    assert np.abs(knots[:, 1]).max() < 1e-6
    assert knots[-1] == pytest.approx((-90.0 * np.cos(np.radians(30)), 0.0, -45.0), abs=1e-6)


def test_thread_ends_at_the_edge_of_the_patch() -> None:
    """The line stops on the edge, the last knot lies over it."""
    surface = make_surface(*flat(100.0, 60.0))
    tri, at = locate(surface, np.array([50.0, 30.0, 0.0]))
    thread = pull_thread(
        surface, tri, at, direction(surface, tri, np.array([1.0, 0.3, 0.0])), spacing=7.0, most=99
    )
    assert thread.line[-1] == pytest.approx((100.0, 45.0, 0.0), abs=1e-9)
    over = overhang(surface, thread.tri, thread.at)
    assert (over[:-1] == 0.0).all()
    assert 0.0 < over[-1] < 7.0


def test_threads_run_together_as_they_run_alone() -> None:
    """Many at once end where each ends by itself."""
    surface = make_surface(*hemisphere(80.0, 30, 15))
    random = np.random.default_rng(3)
    tri = np.flatnonzero(surface.vertices[surface.triangles].mean(axis=1)[:, 2] > 40.0)[::5]
    at = surface.corners[tri].mean(axis=1)
    way = np.exp(2j * np.pi * random.random(len(tri)))
    crossings = crossings_of(surface)
    ends = run_threads(crossings, tri, at, way, 17.0)
    found = positions(surface, ends.tri, ends.at)
    for k in range(len(tri)):
        alone = pull_thread(surface, int(tri[k]), complex(at[k]), complex(way[k]), spacing=17.0, most=1)
        assert positions(surface, alone.tri, alone.at)[0] == pytest.approx(found[k], abs=1e-9)
    assert len(tri) > 40  # so many are run together, fewer one by one
    few = run_threads(crossings, tri[:5], at[:5], way[:5], 17.0)
    assert np.array_equal(few.tri, ends.tri[:5])
    assert np.array_equal(few.at, ends.at[:5]) and np.array_equal(few.way, ends.way[:5])
    lengths = np.linspace(5.0, 25.0, len(tri))
    each = run_threads(crossings, tri, at, way, lengths)
    assert np.array_equal(each.at[7:8], run_threads(crossings, tri[7:8], at[7:8], way[7:8], lengths[7]).at)


# ---- the net


@pytest.mark.parametrize("warp", [(1, 0, 0), (1, 1, 0), (1, 0.3, 0), (0.2, -1, 0)])
def test_no_shear_on_a_cylinder(warp: tuple[float, float, float]) -> None:
    """It can be unrolled, so the net lies on it square, in any direction."""
    draped = drape(half_cylinder(100.0, 300.0), start=(150, 0, 100), warp=warp, cell=6.0)
    assert draped.largest_shear_deg < 1e-6
    assert draped.warned_ratio == draped.locked_ratio == draped.n_locked == 0
    assert draped.reached_ratio == pytest.approx(1.0, abs=0.02)


def test_no_shear_on_a_cone_beside_its_apex() -> None:
    """So does a cone without its apex, round to where the net would meet itself."""
    ring = cone(35.0, 60.0, 160.0)
    wedge = without(ring, lambda m: m[:, 0] < 0.0)
    draped = drape(wedge, warp=(0.3, 1.0, 0.0), cell=5.0)
    assert draped.largest_shear_deg < 1e-6
    assert draped.reached_ratio > 0.97


def test_saddle_shears_the_other_way() -> None:
    """Where a bowl closes the angle between the threads, a saddle opens it."""
    up = drape(bowl(100.0, 20.0, 20.0), start=(0, 0, 0), warp=(1, 0, 0))
    saddle = drape(bowl(100.0, 20.0, -20.0), start=(0, 0, 0), warp=(1, 0, 0))
    for draped, sign in ((up, 1.0), (saddle, -1.0)):
        row, column = draped.middle
        quarter = draped.shear_deg[row + 5 :, column + 5 :][draped.counted[row + 5 :, column + 5 :]]
        assert (sign * quarter > 0.0).all()
        assert sign * quarter.max() if sign > 0 else -quarter.min() > 3.0


def test_flat_net_is_a_lattice_of_squares() -> None:
    """Knots, pieces of cloth and lengths of threads on a plate that holds 20 by 12 cells."""
    draped = drape(flat(100.0, 60.0), start=(50, 30, 0), cell=5.0, warp=(1, 0, 0))
    rows, columns = np.indices(draped.net.tri.shape)
    x, y = (rows - draped.middle[0]) * 5.0 + 50.0, (columns - draped.middle[1]) * 5.0 + 30.0
    known = np.isfinite(draped.knots[..., 0])
    assert draped.knots[..., 0][known] == pytest.approx(x[known], abs=1e-9)
    assert draped.knots[..., 1][known] == pytest.approx(y[known], abs=1e-9)
    assert draped.warp_mm in (100.0, 110.0)
    assert draped.weft_mm in (60.0, 70.0)
    assert draped.warp_threads_mm[draped.middle[1]] == draped.warp_mm
    assert draped.weft_threads_mm[draped.middle[0]] == draped.weft_mm
    assert draped.reached_ratio == pytest.approx(1.0, abs=0.02)
    is_cell = np.isfinite(draped.shear_deg)
    assert np.abs(draped.shear_deg[is_cell]).max() < 1e-9
    knots = draped.knots
    corners = np.stack([knots[:-1, :-1], knots[1:, :-1], knots[1:, 1:], knots[:-1, 1:]], axis=2)[is_cell]
    sides = corners - np.roll(corners, -1, axis=1)
    assert np.linalg.norm(sides, axis=2) == pytest.approx(5.0, abs=1e-9)


def test_net_turns_corners_and_holes() -> None:
    """On an L and round a hole the net reaches what the straight threads do not."""
    angle = without(flat(100.0, 100.0, 40, 40), lambda m: (m[:, 0] > 40.0) & (m[:, 1] > 40.0))
    draped = drape(angle, start=(80, 20, 0), warp=(1, 0.2, 0), cell=4.0)
    assert draped.reached_ratio > 0.97
    assert draped.largest_shear_deg < 1e-6
    holed = without(flat(100.0, 100.0, 40, 40), lambda m: np.abs(m[:, :2] - 50.0).max(axis=1) < 20.0)
    draped = drape(holed, start=(15, 50, 0), warp=(1, 0, 0), cell=4.0)
    assert draped.reached_ratio > 0.95
    assert draped.largest_shear_deg < 1e-6


def test_warp_lies_down_on_the_surface() -> None:
    """By default it runs to the rear, upward on a face across the part; the given one is projected."""
    upright = np.array([[0, 0, 0], [0, 50, 0], [0, 50, 40], [0, 0, 40]], dtype=float)
    patch = (upright, np.array([[0, 1, 2], [0, 2, 3]]))
    assert drape(patch).warp == pytest.approx((0, 0, 1), abs=1e-12)
    assert drape(flat(50.0, 40.0)).warp == pytest.approx((1, 0, 0), abs=1e-12)
    leaning = drape(flat(50.0, 40.0), warp=(3.0, 4.0, 7.0))
    assert leaning.warp == pytest.approx((0.6, 0.8, 0.0), abs=1e-12)


def test_figures_agree_with_the_cells(laid: Drape) -> None:
    """Shares and counts are those of the cells that are counted."""
    size = np.abs(laid.shear_deg[laid.counted])
    assert laid.largest_shear_deg == size.max()
    assert laid.n_locked == (size > LOCK_DEG).sum() > 0
    weight = np.cos(np.radians(size)) * laid.within_ratio[laid.counted]
    assert laid.warned_ratio == pytest.approx(weight[size > WARN_DEG].sum() / weight.sum())
    assert laid.locked_ratio == pytest.approx(weight[size > LOCK_DEG].sum() / weight.sum())
    row, column = laid.largest_cell
    assert np.linalg.norm(laid.largest_at - laid.knots[row, column]) < laid.cell


def test_steeper_limits_change_the_shares_alone(dome: Surface, laid: Drape) -> None:
    """Another cloth has another locking angle, not another net."""
    loose = drape(dome, start=(0, 0, 100), warp=(1.0, 0.2, 0.0), cell=6.0, warn_deg=40.0, lock_deg=60.0)
    assert loose.n_locked == 0
    assert loose.warned_ratio < laid.warned_ratio
    np.testing.assert_array_equal(loose.shear_deg, laid.shear_deg)


def test_nets_laid_together_are_those_laid_alone(dome: Surface, laid: Drape) -> None:
    """On two patches, in cells of two sizes: to the last bit, and an error in the place of one refused."""
    holed = make_surface(
        *without(flat(100.0, 100.0, 40, 40), lambda m: np.abs(m[:, :2] - 50.0).max(axis=1) < 20.0)
    )
    asked = [
        Asked(surface=holed, start=(15.0, 50.0, 0.0), warp=(1.0, 0.3, 0.0), cell=4.0),
        Asked(surface=dome, cell=0.01),
        Asked(surface=dome, start=(0.0, 0.0, 100.0), warp=(1.0, 0.2, 0.0), cell=6.0),
        Asked(surface=holed, start=(15.0, 50.0, 0.0), cell=9.0),
    ]
    one, none, two, three = drapes(asked)
    assert isinstance(none, PlugError) and none.param == "cell"
    by_itself = [drape(a.surface, start=a.start, warp=a.warp, cell=a.cell) for a in (asked[0], asked[3])]
    for found, alone in ((one, by_itself[0]), (two, laid), (three, by_itself[1])):
        assert isinstance(found, Drape) and found.middle == alone.middle
        assert np.array_equal(found.knots, alone.knots, equal_nan=True)
        assert np.array_equal(found.net.tri, alone.net.tri)
        assert np.array_equal(found.shear_deg, alone.shear_deg, equal_nan=True)


# ---- what is refused


def test_wrong_words_are_refused_with_what_would_do() -> None:
    """Cell, angles and warp; the remedy of each is taken."""
    patch = flat(100.0, 60.0)
    for cell in (0.1, 40.0, -3.0, float("nan")):
        with pytest.raises(PlugError) as fault:
            drape(patch, cell=cell, where="deck")
        assert (fault.value.param, fault.value.where) == ("cell", "deck")
        drape(patch, cell=float(fault.value.remedy.split()[1]))
    for warn, lock in ((50.0, 45.0), (0.0, 45.0), (30.0, 90.0)):
        with pytest.raises(PlugError, match="use 45, and 30 to warn of") as fault:
            drape(patch, warn_deg=warn, lock_deg=lock)
        assert fault.value.param == "lock_deg"
    with pytest.raises(PlugError) as fault:
        drape(patch, warp=(0, 0, 1))
    assert fault.value.param == "warp"
    along = [float(part) for part in fault.value.remedy.split("(")[1].rstrip(")").split(",")]
    drape(patch, warp=along)


def test_start_where_nothing_can_be_laid_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """A net of its start alone has no shear to speak of."""
    surface = make_surface(*flat(100.0, 60.0))

    def bare(starts: list[NetStart]) -> list[PinJointedNet]:
        (start,) = starts
        nothing, known = np.full((2, 2, 2), np.nan + 0j), np.array([[start.tri, -1], [-1, -1]])
        where, none = np.full((2, 2), start.at), np.zeros((2, 2))
        return [PinJointedNet(middle=(0, 0), tri=known, at=where, warp=nothing, weft=nothing, misfit=none)]

    monkeypatch.setattr("plugs.drape.drape.lay_nets", bare)
    with pytest.raises(PlugError) as fault:
        drape(surface, cell=4.0)
    assert fault.value.param == "start"
    assert "12 mm or more from corners, or use a cell of 2" in fault.value.remedy


# ---- remedies


def test_nothing_to_do_where_nothing_locks() -> None:
    """A flat net has no remedies and no findings."""
    surface = make_surface(*flat(100.0, 60.0))
    draped = drape(surface)
    assert remedies_for(surface, draped) is None
    assert darts_for(surface, draped) == ()
    assert shear_with_darts(draped, ()) == draped.largest_shear_deg
    assert drape_findings(draped, None, "deck") == ()


def test_dart_on_a_cone_ends_at_its_apex() -> None:
    """All that a cone lacks is at its apex, so that is where the dart begins, and its wedge takes most of it.

    Angle lacking: 2 pi (1 - cos slope), closed form. The cells in the apex's own row and column are
    sheared by a part of it; the wedge lies half way, so that none keeps more than a third.
    """
    surface = make_surface(*cone(32.0, 0.0, 150.0))
    draped = drape(surface, start=(-51.0, -37.0, -32.0), warp=(1.0, 0.0, 0.0), cell=6.0, warn_deg=10.0)
    (dart,) = darts_for(surface, draped)
    lacking = 360.0 * (1.0 - np.cos(np.radians(32.0)))
    assert dart.before_deg == pytest.approx(lacking, abs=0.2)
    assert np.linalg.norm(dart.line[-1]) < 1.5 * draped.cell
    assert np.linalg.norm(dart.line[0]) == pytest.approx(150.0, rel=2e-3)
    assert lacking / 2.0 < dart.angle_deg < lacking
    assert dart.angle_deg + dart.after_deg == pytest.approx(lacking, abs=0.2)
    assert dart.after_deg < lacking / 3.0
    assert shear_with_darts(draped, (dart,)) == dart.after_deg


def test_darts_of_a_hemisphere(laid: Drape, remedies: Remedies) -> None:
    """Four, alike, from the edge up the bias, each on the surface and as wide as its wedge says."""
    assert len(remedies.darts) == 4
    for dart in remedies.darts:
        assert dart.after_deg <= WARN_DEG < LOCK_DEG < dart.before_deg
        assert np.abs(np.linalg.norm(dart.line, axis=1) - 100.0).max() < 0.1
        assert dart.line[0, 2] == pytest.approx(0.0, abs=1e-9)
        length = np.linalg.norm(np.diff(dart.line, axis=0), axis=1).sum()
        assert dart.length == pytest.approx(length)
        assert dart.width == pytest.approx(2.0 * length * np.tan(np.radians(dart.angle_deg / 2.0)))
        bias = np.degrees(np.arctan2(dart.line[0, 1], dart.line[0, 0]) - np.arctan2(0.2, 1.0)) % 90.0
        assert bias == pytest.approx(45.0, abs=4.0)
    assert remedies.darted_deg == max(dart.after_deg for dart in remedies.darts)


def test_split_hemisphere_shears_less(dome: Surface, laid: Drape, remedies: Remedies) -> None:
    """Each half reaches half as far from its middle; the halves together have the whole area."""
    assert remedies.split is not None
    assert remedies.split.n_locked == 0
    assert remedies.split.largest_shear_deg < 0.6 * laid.largest_shear_deg
    halves = split_zone(dome, laid, np.array([0.0, 0.0, 0.0]), np.array([0.0, 3.0, 0.0]))
    assert len(halves.parts) == 2
    for part, side in zip(halves.parts, (1.0, -1.0), strict=True):
        inside = part.knots[np.isfinite(part.knots[..., 0]) & ~part.is_over]
        assert (side * inside[:, 1]).min() > -1e-6
        assert part.reached_ratio > 0.97
    aside = split_zone(dome, laid, np.array([0.0, 300.0, 0.0]), np.array([0.0, 1.0, 0.0]))
    assert len(aside.parts) == 1


def test_a_better_start_is_found(dome: Surface) -> None:
    """A net that begins near the edge of a dome is told to begin at its middle; one there already, not."""
    off = drape(dome, start=(90.0, 0.0, 43.0), warp=(0.0, 1.0, 0.0), cell=6.0)
    assert off.reached_ratio < 1.02  # beyond what locks, no thread is pulled on
    best = better_start(dome, off)
    assert best is not None
    assert best.largest_shear_deg < off.largest_shear_deg
    middle = drape(dome, start=(0.0, 0.0, 100.0), cell=6.0)
    assert better_start(dome, middle) is None
    again = drape(dome, start=best.start, warp=best.warp, cell=6.0)
    assert again.largest_shear_deg == pytest.approx(best.largest_shear_deg, abs=0.5)


def test_findings_name_place_value_and_remedy(laid: Drape, remedies: Remedies, dome: Surface) -> None:
    """Locked cloth warns, with each remedy's shear; sheared cloth notes; so does a net that falls short."""
    (finding,) = drape_findings(laid, remedies, "cap")
    assert (finding.code, finding.severity, finding.where) == ("cloth-wrinkles", "mind", "cap")
    assert f"{laid.largest_shear_deg:.1f} degrees" in finding.message
    assert "4 darts" in finding.remedy
    assert f"{remedies.darted_deg:.0f} degrees" in finding.remedy
    assert "split the zone" in finding.remedy
    assert "cut a dart" in drape_findings(laid, None, "cap")[0].remedy
    loose = drape(dome, start=(0, 0, 100), cell=6.0, lock_deg=60.0)
    (note,) = drape_findings(loose, None, "cap", "in")
    assert (note.code, note.severity) == ("cloth-shears", "note")
    assert "in" in note.message
    # a patch in two pieces: the net stays on one
    apart = without(flat(100.0, 20.0, 50, 10), lambda m: np.abs(m[:, 0] - 50.0) < 10.0)
    (short,) = drape_findings(drape(apart, start=(20, 10, 0), cell=2.0), None, "strip")
    assert (short.code, short.severity) == ("cloth-does-not-reach", "note")


# ---- the picture


def test_picture_shows_net_locked_cells_start_and_darts(
    dome: Surface, laid: Drape, remedies: Remedies
) -> None:
    """All groups are there, in plan and one view from beside, and both files can be read."""
    drawing = drape_drawing(
        dome, laid, zone="cap", path="cloth/shear-1", plug_name="Dome", darts=remedies.darts
    )
    groups = list(dict.fromkeys(path.dxf_layer for path in drawing.paths))
    shown = [group for group in groups if not group.startswith("LEGEND_")]
    assert shown == ["ZONE_EDGE", "WEAVE", "TIGHT", "WRINKLES", "FIRST_POINT", "DART_CUT", "LABELS"]
    assert {f"LEGEND_{group}" for group in shown[:-1]} == {*groups} - {*shown}
    texts = " / ".join(label.text for label in drawing.labels)
    assert f"Largest shear of a cell {laid.largest_shear_deg:.1f} deg" in texts
    assert f"{laid.n_locked} cells" in texts
    assert "seen from above" in texts
    # each locked cell has two strokes in each of two views, each a cell's diagonal long at most
    strokes = sum(len(path.points) - 1 for path in drawing.paths if path.dxf_layer == "WRINKLES")
    assert strokes == 4 * laid.n_locked
    assert sum(path.dxf_layer == "DART_CUT" for path in drawing.paths) == 8
    root = ElementTree.fromstring(render_svg(drawing).encode())
    assert len(root.findall("{http://www.w3.org/2000/svg}g")) == len(groups)
    content = render_dxf(drawing)
    document = ezdxf.read(StringIO(content if isinstance(content, str) else content.decode()))
    assert {entity.dxf.layer for entity in document.modelspace()} >= set(groups)
    again = drape_drawing(
        dome, laid, zone="cap", path="cloth/shear-1", plug_name="Dome", darts=remedies.darts
    )
    assert render_svg(again) == render_svg(drawing)


def test_picture_of_an_upright_zone_looks_at_it() -> None:
    """A face across the part is drawn seen from behind alone."""
    upright = np.array([[0, 0, 0], [0, 50, 0], [0, 50, 40], [0, 0, 40]], dtype=float)
    surface = make_surface(upright, np.array([[0, 1, 2], [0, 2, 3]]))
    drawing = drape_drawing(
        surface, drape(surface), zone="rear", path="cloth/a", plug_name="Box", display_unit="in"
    )
    seen = [label.text for label in drawing.labels if label.text.startswith("seen")]
    assert seen == ["seen from behind: y to the right, z up"]
    assert not [path for path in drawing.paths if path.dxf_layer in ("TIGHT", "WRINKLES", "DART_CUT")]


@pytest.mark.parametrize(
    ("corners", "words"),
    [
        ([[0, 9, 0], [0, 9, 40], [50, 9, 40], [50, 9, 0]], "seen from the right: x to the left, z up"),
        ([[0, 9, 0], [50, 9, 0], [50, 9, 40], [0, 9, 40]], "seen from the left: x to the right, z up"),
        ([[0, 0, 0], [0, 0, 40], [0, 50, 40], [0, 50, 0]], "seen from the front: y to the left, z up"),
        (
            [[0, 0, 0], [0, 50, 0], [40, 50, 0], [40, 0, 0]],
            "seen from below: x to the right, y down",
        ),
    ],
)
def test_zone_is_seen_from_where_one_stands_before_it(corners: list[list[float]], words: str) -> None:
    """Each face from outside: not through the plug, in which left and right would be the other way round."""
    surface = make_surface(np.array(corners, dtype=float), np.array([[0, 1, 2], [0, 2, 3]]))
    drawing = drape_drawing(surface, drape(surface), zone="side", path="cloth/a", plug_name="Box")
    assert [label.text for label in drawing.labels if label.text.startswith("seen")] == [words]
    # anti-clockwise as it is seen
    (edge,) = [path for path in drawing.paths if path.dxf_layer == "ZONE_EDGE"]
    x, y = edge.points.T
    assert (x * np.roll(y, -1) - y * np.roll(x, -1)).sum() > 0.0


# ---- a real part


def test_seat_hump_locks_at_its_corners_alone() -> None:
    """Cloth over the whole hump lies down on top and flanks; what locks is where the ends turn the corner."""
    work = at_defaults("seat_hump")
    vertices, triangles = triangles_of(make_solid(work.lines.finish, (), (), 0.05).body)
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    normal = np.cross(b - a, c - a)
    upper = triangles[normal[:, 2] > -0.3 * np.linalg.norm(normal, axis=1)]
    surface = make_surface(vertices, upper)
    draped = drape(surface)
    assert draped.reached_ratio > 0.98
    assert draped.misfit_ratio < 1e-3
    rows, columns = np.nonzero(draped.counted & (np.abs(draped.shear_deg) > LOCK_DEG))
    places = draped.knots[rows, columns]
    assert len(places) == draped.n_locked > 100
    assert (np.abs(places[:, 1]) > 80.0).all()
    assert ((places[:, 0] < 30.0) | (places[:, 0] > 380.0)).all()
    middle = draped.counted & (np.abs(draped.knots[:-1, :-1, 1]) < 60.0)
    assert np.abs(draped.shear_deg[middle]).max() < 20.0
    darts = darts_for(surface, draped)
    assert len(darts) == 4
    assert shear_with_darts(draped, darts) < LOCK_DEG
