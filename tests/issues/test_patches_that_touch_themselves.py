"""Patches of cloth that touch themselves, and zones on which no net lies: laid flat, draped, or told of.

Expected values are counts and areas of the shapes themselves, no outside source.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from plugs.cloth.cloth import ClothPly
from plugs.cloth.cuts import cut_darts, cut_open
from plugs.cloth.flatten import flatten
from plugs.cloth.patterns import patterns_of
from plugs.cloth.regions import SurfaceRegions
from plugs.cloth.zone_words import DartCut, Zone
from plugs.cloth.zones import DART, OPENED, Patch, Zoned, patches_of
from plugs.drape import remedies as drape_remedies
from plugs.drape.drape import Asked, drape, shear_of
from plugs.drape.geodesic import holes_closed, make_surface, rim_loops
from plugs.drape.remedies import drape_findings, nets_on
from plugs.drape.splitting import parted_fans
from plugs.drape.turning import well_shaped
from plugs.ground.errors import PlugError
from plugs.mesh.triangles import edge_loops, edges_of
from tests.cloth import cloth_patch
from tests.patches import flat, hemisphere, without

Array = NDArray[np.float64]
Indices = NDArray[np.int64]


def only_patch(vertices: Array, triangles: Indices, label: Indices) -> Patch:
    """Return the one patch of the triangles that bear a 1."""
    places = SurfaceRegions(
        vertices=vertices, triangles=triangles, label=label, names=("rest", "zone"), owners=("rest", "zone")
    )
    (patch,) = patches_of(places, (Zone(name="zone", panels=("zone",)),))
    return patch


def ring(gap: float) -> tuple[Array, Indices]:
    """Return a square plate with a square hole in it whose corner lies a gap from that of the plate."""
    outer = np.array([[0, 0], [90, 0], [90, 90], [0, 90]], dtype=float)
    inner = np.array([[gap, gap], [60, 30], [60, 60], [30, 60]], dtype=float)
    vertices = np.column_stack([np.concatenate([outer, inner]), np.zeros(8)])
    found = []
    for k in range(4):
        j = (k + 1) % 4
        found += [[k, j, 4 + j], [k, 4 + j, 4 + k]]
    return vertices, np.array(found)


def test_no_edge_is_turned_onto_one_that_is_there() -> None:
    """Two vertices that an edge joins already: turning another edge onto it would make four sides meet."""
    # the long edge a-b would turn into the short c-d, which a third triangle has already
    vertices = np.array([[0, -9, 0], [0, 9, 0], [-1, 0, 0], [1, 0, 0], [0, 0, 20]], dtype=float)
    sheet = np.array([[0, 1, 2], [1, 0, 3], [2, 3, 4]])
    assert np.array_equal(well_shaped(vertices, sheet, np.zeros(3, dtype=np.int64)), sheet)
    free = well_shaped(vertices, sheet[:2], np.zeros(2, dtype=np.int64))
    assert {frozenset(t) for t in free.tolist()} == {frozenset((2, 3, 1)), frozenset((2, 3, 0))}


def test_two_edges_are_not_turned_into_one() -> None:
    """Two pairs of triangles between the same two vertices, turned in the same round: one of them alone."""
    vertices = np.array(
        [[0, -9, 0], [0, 9, 0], [-1, 0, 0], [1, 0, 0], [0, -8, 0.01], [0, 8, 0.01]], dtype=float
    )
    fins = np.array([[0, 1, 2], [1, 0, 3], [4, 5, 2], [5, 4, 3]])
    turned = well_shaped(vertices, fins, np.zeros(4, dtype=np.int64))
    _, number = edges_of(turned)
    assert np.bincount(number.ravel()).max() == 2
    assert not np.array_equal(turned, fins)


def test_patch_that_touches_itself_in_a_vertex_is_parted_there() -> None:
    """A hole that reaches the plate's corner: one rim, no vertex twice on it, and it lies flat as it is."""
    vertices, triangles = ring(0.0)
    triangles = np.where(triangles == 4, 0, triangles)
    triangles = triangles[(np.diff(np.sort(triangles, axis=1), axis=1) > 0).all(axis=1)]
    patch = only_patch(vertices, triangles, np.ones(len(triangles), dtype=np.int64))
    assert len(patch.vertices) == 8 and len(np.unique(patch.ids)) == 7
    (loop,) = edge_loops(patch.triangles)
    assert len(np.unique(loop)) == len(loop) == 8
    assert cut_open(patch) is patch
    laid = flatten(patch)
    assert laid.is_exact and laid.area_ratio == pytest.approx(1.0)


def test_four_sides_at_an_edge_are_parted_into_two_and_two() -> None:
    """Two tents that stand on one ridge: each fan has vertices of its own, and no side is shared by more."""
    vertices = np.array([[0, 0, 0], [90, 0, 0], [0, 60, 9], [0, -60, 9], [0, 60, -9], [0, -60, -9]], float)
    triangles = np.array([[0, 1, 2], [1, 0, 3], [1, 0, 4], [0, 1, 5]])
    parted, was = parted_fans(triangles)
    assert len(was) == 12  # nothing hangs together at a ridge of four
    assert np.array_equal(was[parted], triangles)
    assert len(edge_loops(parted)) == 4
    # as a zone: four pieces, each with its own rim
    places = SurfaceRegions(
        vertices=vertices, triangles=triangles, label=np.zeros(4, dtype=np.int64), names=("a",), owners=("a",)
    )
    assert len(patches_of(places, (Zone(name="a", panels=("a",)),))) == 4


def test_rim_of_an_edge_that_three_share_is_walked_to_its_end() -> None:
    """Three triangles on one edge, two of them the same way round: as many ways lead on as come in."""
    loops = edge_loops(np.array([[0, 1, 2], [1, 0, 3], [0, 1, 4]]))
    assert sorted(int(v) for loop in loops for v in loop) == [0, 0, 1, 1, 2, 3, 4]


def test_ring_whose_way_runs_along_its_rim_is_opened() -> None:
    """The wall of a narrow slot in long slivers, on which the way from rim to rim comes back to the first."""
    vertices = np.array(
        [
            [-83.5, -53.1, 29.3], [-82.0, -53.1, 29.3], [-81.1, -53.2, 29.2], [-83.5, -52.0, 27.4],
            [-81.5, -52.1, 27.3], [-81.0, -52.2, 27.3], [-93.7, 52.0, 99.2], [-92.1, 52.1, 99.2],
            [-91.6, 52.2, 99.3], [-91.3, 52.2, 99.3], [-93.7, 50.8, 101.0], [-91.8, 50.9, 101.0],
            [-91.3, 51.0, 101.1], [-91.3, 51.4, 100.5],
        ]
    )  # fmt: skip
    triangles = np.array(
        [
            [3, 6, 0], [0, 12, 1], [7, 9, 8], [1, 12, 2], [2, 9, 5], [5, 9, 4], [3, 7, 6], [0, 6, 10],
            [11, 0, 10], [9, 7, 3], [9, 2, 13], [12, 0, 11], [2, 12, 13], [9, 3, 4],
        ]
    )  # fmt: skip
    tube = cloth_patch(vertices, triangles)
    assert len(edge_loops(tube.triangles)) == 2
    strip = cut_open(tube)
    (loop,) = edge_loops(strip.triangles)
    assert len(np.unique(loop)) == len(loop)
    assert strip.area_mm2 == pytest.approx(tube.area_mm2, rel=1e-9)
    lapped, other = (int((strip.beyond == side).sum()) for side in (OPENED, DART))
    assert lapped == other > 0
    assert np.isfinite(flatten(strip).points).all()


def test_neighbour_of_crumbs_alone_has_no_piece_to_share_with() -> None:
    """Beyond an edge lies a zone of less than 100 mm2, which has no piece: the ply laps over it."""
    vertices, triangles = flat(100.0, 60.0, 10, 6)
    middle = vertices[triangles].mean(axis=1)
    label = ((middle[:, 0] > 90.0) & (middle[:, 1] < 10.0) & (middle[:, 0] - middle[:, 1] > 90.0)).astype(int)
    names = ("deck", "corner")
    places = SurfaceRegions(vertices=vertices, triangles=triangles, label=label, names=names, owners=names)
    zones = tuple(Zone(name=name, panels=(name,)) for name in names)
    patches = patches_of(places, zones)
    assert [patch.name for patch in patches] == ["deck"] and (patches[0].beyond == 1).any()
    surface = Zoned(zones=zones, patches=patches, areas_mm2={}, owners={}, centroids={})
    (piece,) = patterns_of(surface, [ClothPly(number=1, zones=names)]).patterns
    assert piece.outline.contains(piece.zone_outline)


def test_cut_that_would_run_along_its_own_rim_begins_where_it_leaves_it() -> None:
    """A dart from a corner of a plate past its edge begins at the edge; one that ends there is refused."""
    plate = cloth_patch(*flat(100.0, 60.0, 5, 3))
    cut = cut_darts(plate, [DartCut(zone="patch", edge=(0.0, 0.0, 0.0), tip=(50.0, 30.0, 0.0))])
    assert len(edge_loops(cut.triangles)) == 1
    assert cut.area_mm2 == pytest.approx(6000.0)
    with pytest.raises(PlugError) as caught:
        cut_darts(plate, [DartCut(zone="patch", edge=(0.0, 20.0, 0.0), tip=(100.0, 20.0, 0.0))])
    assert "would part" in caught.value.reason and "20 mm" in caught.value.remedy


def test_dart_through_a_hole_goes_on_beyond_it() -> None:
    """From the edge through a hole: the hole opens to the edge, and the dart ends at its tip."""
    plate = cloth_patch(
        *without(flat(100.0, 60.0, 20, 12), lambda m: np.hypot(m[:, 0] - 30, m[:, 1] - 30) < 9)
    )
    assert len(edge_loops(plate.triangles)) == 2
    cut = cut_darts(plate, [DartCut(zone="patch", edge=(0.0, 30.0, 0.0), tip=(70.0, 30.0, 0.0))])
    (loop,) = edge_loops(cut.triangles)
    assert len(np.unique(loop)) == len(loop)
    at = cut.vertices[loop]
    assert np.linalg.norm(at - np.array([70.0, 30.0, 0.0]), axis=1).min() == pytest.approx(0.0, abs=1e-6)


def test_hole_along_a_side_that_touches_another_stays_open() -> None:
    """Where a patch touches itself along a side its surface is open there; without leave it is refused."""
    vertices = np.array([[0, 0, 0], [90, 0, 0], [0, 60, 9], [0, -60, 9], [0, 60, -9], [0, -60, -9]], float)
    triangles = np.array([[0, 1, 2], [1, 0, 3], [1, 0, 4], [0, 1, 5]])
    with pytest.raises(AssertionError, match="same way round"):
        make_surface(vertices, triangles)
    surface = make_surface(vertices, triangles, is_parted=True)
    assert (surface.beside < 0).all()
    assert sum(len(loop) for loop in rim_loops(surface)) == 12
    closed = make_surface(*holes_closed(vertices, triangles), is_parted=True)
    ridge = [np.flatnonzero((closed.vertices == end).all(axis=1)).item() for end in vertices[:2]]
    ends = np.stack([closed.triangles, np.roll(closed.triangles, -1, axis=1)], axis=2)
    is_ridge = np.isin(ends, ridge).all(axis=2)
    assert is_ridge.sum() == 4 and (closed.beside[is_ridge] < 0).all()


def test_largest_shear_of_nothing_has_a_place() -> None:
    """A cloth that need not shear at all: 0 degrees, at a cell that is there, though the first is not."""
    half = np.array([[100.0, 0.0, 0.0], [100.0, 100.0, 0.0], [0.0, 100.0, 0.0]])
    laid = drape((half, np.array([[0, 1, 2]])), cell=5.0)
    assert laid.largest_shear_deg == pytest.approx(0.0, abs=1e-6)
    assert laid.counted[laid.largest_cell]
    assert np.isfinite(laid.largest_at).all()
    assert drape_findings(laid, None, "deck") == ()


def test_cell_whose_threads_have_crossed_over_is_none() -> None:
    """Threads that meet the wrong way round have no shear: nothing is sheared by 90 degrees or more."""
    corner = np.array([[0.0, 0.0, 0.0], [100.0, 0.0, 0.0], [0.0, 100.0, 0.0]])
    net = drape((corner, np.array([[0, 1, 2]])), cell=5.0).net  # one triangle: every direction in one plane
    crossed = replace(net, weft=net.weft * np.exp(-0.6j * np.pi))
    close = replace(net, weft=net.weft * np.exp(-0.4j * np.pi))
    assert np.nanmax(np.abs(shear_of(net))) == pytest.approx(0.0, abs=1e-6)
    assert np.nanmax(shear_of(close)) == pytest.approx(72.0)
    assert np.isnan(shear_of(crossed)).all()


def test_zone_without_a_net_is_told_of(monkeypatch: pytest.MonkeyPatch) -> None:
    """No cell fits: a warning with place, reason and remedy stands there; a trial that fails is no remedy."""
    fin = make_surface(np.array([[0, 0, 0], [100, 0, 0], [100, 9, 0]], dtype=float), np.array([[0, 1, 2]]))
    ((net, remedies, (told,)),) = nets_on(
        [Asked(surface=fin, where="fin", cell=50.0)]
    )  # a quarter of the patch is the most that fits
    assert net is None and remedies is None
    assert (told.code, told.severity, told.where) == ("cloth-not-draped", "mind", "fin")
    assert "takes cells of" in told.message and "x = " in told.message
    assert "split the zone in 2" in told.remedy
    upright = Asked(surface=fin, where="fin", cell=5.0, start=(90.0, 2.0, 0.0), warp=(0.0, 0.0, 1.0))
    ((_, _, (square,)),) = nets_on([upright])
    assert "faces that way" in square.message and "in the surface" in square.remedy
    dome = make_surface(*hemisphere(100.0, 40, 20))
    laid = drape(dome, start=(0.0, 0.0, 100.0), cell=10.0)

    def refused(*_: object, **__: object) -> None:
        raise PlugError(param="start", value=0, reason="no cell can be laid there", remedy="start elsewhere")

    monkeypatch.setattr(drape_remedies, "drape", refused)
    found = drape_remedies.remedies_for(dome, laid)
    assert found is not None
    assert found.restart is None and found.split is None and found.darts
