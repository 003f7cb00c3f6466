"""Patterns of cloth are drawn where they are needed or asked for, once for all that is cut by them."""

from __future__ import annotations

import math

import numpy as np
import pytest

from plugs.cloth.cloth import ClothPly, Laps
from plugs.cloth.drawn import asked_zones, patterns_to_draw
from plugs.cloth.patterns import PatternSet, laying_order, patterns_of
from plugs.cloth.roll import lay_out
from plugs.cloth.zone_words import Zone
from plugs.cloth.zones import Patch, Zoned
from plugs.drape.drape import Asked, drape, may_shear_deg
from plugs.drape.geodesic import make_surface
from plugs.ground.errors import PlugError
from plugs.subjects.cloth import pattern_drawing
from plugs.subjects.cloth_map import cloth_map
from tests.cloth import cloth_patch
from tests.patches import flat, hemisphere, patch_of, without

LAPS = Laps(overlap=50.0, ply_offset=30.0, trim=25.0)


def zoned_of(patch: Patch) -> Zoned:
    """Return a surface of one patch."""
    zone = Zone(name=patch.name, panels=(patch.name,))
    return Zoned(zones=(zone,), patches=(patch,), areas_mm2={}, owners={}, centroids={})


def cut(patch: Patch, *biases: float) -> PatternSet:
    """Return the patterns of a patch for plies one after another."""
    plies = [ClothPly(number=i, bias_deg=bias) for i, bias in enumerate(biases, start=1)]
    return patterns_of(zoned_of(patch), plies, LAPS)


def drawn(made: PatternSet, *asked: str) -> list[tuple[str, list[str]]]:
    """Return the names of the patterns that are drawn, and of what is cut by each."""
    rolls = [lay_out(made.patterns, "cloth", 1500.0, LAPS)]
    found = patterns_to_draw(made, rolls, asked_zones(asked, ["patch"]))
    return [(one.pattern.name, [piece.name for piece in one.pieces]) for one in found]


def test_a_flat_rectangle_is_told_by_its_dimensions() -> None:
    """400 x 300 with 25 of trim all round is 450 x 350 of any ply; it has no pattern unless asked for."""
    made = cut(cloth_patch(*flat(400.0, 300.0)), 0.0, 0.0)
    for pattern in made.patterns:
        assert pattern.size == pytest.approx((450.0, 350.0), abs=1e-6)
        assert pattern.is_rectangle
    assert drawn(made) == []
    assert drawn(made, "patch") == drawn(made, "all") == [("A1 patch", ["A1 patch", "A2 patch"])]


def test_a_cylinder_is_a_rectangle_as_wide_as_its_arc_is_long() -> None:
    """Radius 200 through 75 degrees unrolls to 200 x 75 pi / 180 = 261.80 mm, and 25 on each side."""
    turn = math.radians(75.0)

    def at(u: np.ndarray, v: np.ndarray) -> np.ndarray:
        return np.stack([500.0 * u, 200.0 * np.sin(turn * v), 200.0 * np.cos(turn * v)], axis=1)

    made = cut(cloth_patch(*patch_of(at, 10, 120)), 0.0)
    (pattern,) = made.patterns
    assert pattern.size == pytest.approx((550.0, 200.0 * turn + 50.0), abs=0.02)
    assert pattern.is_rectangle and drawn(made) == []


def test_what_is_no_rectangle_has_one_pattern_for_all_its_plies() -> None:
    """A triangle is drawn once for three plies; where it is asked for, once for those that are cut alike."""
    corner = cloth_patch(np.array([(0.0, 0, 0), (600.0, 0, 0), (0.0, 400.0, 0)]), np.array([(0, 1, 2)]))
    made = cut(corner, 0.0, 45.0, 0.0)
    assert not any(pattern.is_rectangle for pattern in made.patterns)
    every = ["A1 patch", "A2 patch", "A3 patch"]
    assert drawn(made) == [("A patch", every)]
    assert drawn(made, "patch") == [("A1 patch", ["A1 patch", "A3 patch"]), ("A2 patch", ["A2 patch"])]
    (one,) = patterns_to_draw(made, [], frozenset())
    words = [label.text for label in pattern_drawing(one, {0: "A"}, path="cloth/a", plug_name="Plug").labels]
    assert "patch: cut 3: plies 1, 2, 3" in words


def test_a_zone_that_is_not_there_is_refused_with_those_that_are() -> None:
    """The word of a recipe is read as a list, and names what would do."""
    with pytest.raises(PlugError) as caught:
        asked_zones(("deck", "dekc"), ("deck", "side"))
    assert caught.value.param == "patterns[1]" and "deck, side" in caught.value.remedy


def test_each_piece_is_laid_after_those_that_it_laps_over() -> None:
    """Where two zones meet, the one whose edge goes beyond the seam comes later, in every ply."""
    square = np.array([(0.0, 0, 0), (300.0, 0, 0), (300.0, 300.0, 0), (0.0, 300.0, 0)])
    left = cloth_patch(square, np.array([(0, 1, 2), (0, 2, 3)]))
    seam = [tuple(edge) for edge in left.rim.tolist()]
    ids = {tuple(point): k for k, point in enumerate(map(tuple, left.vertices.round(6)))}
    other = cloth_patch(square + np.array([300.0, 0, 0]), np.array([(0, 1, 2), (0, 2, 3)]))
    shared = np.array([ids.get(tuple(p), 10 + k) for k, p in enumerate(map(tuple, other.vertices.round(6)))])
    at_300 = [bool((left.vertices[list(edge)][:, 0] == 300.0).all()) for edge in seam]
    beyond = [bool((other.vertices[edge][:, 0] == 300.0).all()) for edge in other.rim.tolist()]
    patches = (
        _named(left, "left", 0, left.ids, np.where(at_300, 1, -1)),
        _named(other, "right", 1, shared, np.where(beyond, 0, -1)),
    )
    zones = (Zone(name="left", panels=("left",)), Zone(name="right", panels=("right",)))
    surface = Zoned(zones=zones, patches=patches, areas_mm2={}, owners={}, centroids={})
    made = patterns_of(surface, [ClothPly(number=i) for i in (1, 2, 3)], LAPS)
    assert [seam.name for seam in made.seams] == ["A-B"]
    for ply in (1, 2, 3):
        first, second = laying_order(made, ply)
        far = {p.zone: next(v for k, v in p.moves.items() if k >= 0) for p in (first, second)}
        assert far[second.zone] > 0.0 > far[first.zone]
        assert far[second.zone] + far[first.zone] == pytest.approx(LAPS.overlap)
    view = cloth_map(surface, made.whole, path="cloth/map", plug_name="Plug")
    assert {"A", "B", "Cloth: which piece goes where"} <= {label.text for label in view.labels}


def _named(patch: Patch, name: str, zone: int, ids: np.ndarray, beyond: np.ndarray) -> Patch:
    """Return a patch as one of several."""
    return Patch(
        name=name, zone=zone, warp="forward", vertices=patch.vertices, triangles=patch.triangles,
        ids=ids, rim=patch.rim, beyond=beyond,
    )  # fmt: skip


@pytest.mark.parametrize("polar_deg", [20.0, 45.0, 60.0])
def test_curvature_tells_how_far_a_weave_may_shear_at_most(polar_deg: float) -> None:
    """No less than the net shears, no more than a quarter of a cap's curvature, 90 (1 - cos a) degrees.

    By the theorem of Gauss and Bonnet a cap of angle a holds 360 (1 - cos a) degrees in all; each quarter
    of the net holds a fourth of it.
    """
    high = 100.0 * math.cos(math.radians(polar_deg))
    cap = make_surface(*without(hemisphere(100.0, 72, 180), lambda at: at[:, 2] < high - 1e-6))
    asked = Asked(surface=cap, start=(0.0, 0.0, 100.0), warp=(1.0, 0.0, 0.0))
    told = may_shear_deg(asked)
    assert told <= 90.0 * (1.0 - math.cos(math.radians(polar_deg))) * 1.05 + 0.5
    assert told >= drape(cap, start=asked.start, warp=asked.warp).largest_shear_deg


def test_what_is_flat_or_unrolls_needs_no_net() -> None:
    """A plane holds no curvature; a hollow is not set off against a hump.

    The start lies on a line of edges along which the warp runs: from vertex to vertex it keeps to it.
    """
    assert may_shear_deg(Asked(surface=make_surface(*flat(300.0, 200.0)))) == 0.0

    def wavy(u: np.ndarray, v: np.ndarray) -> np.ndarray:
        rise = 60.0 * np.sin(2.0 * np.pi * u) * np.sin(np.pi * v)
        return np.stack([600.0 * u, 400.0 * v, rise], axis=1)

    wave = make_surface(*patch_of(wavy, 40, 30))
    asked = Asked(surface=wave)
    net = drape(wave)
    assert net.knots[: net.middle[0], net.middle[1], 1] == pytest.approx(200.0, abs=0.1)
    assert may_shear_deg(asked) >= net.largest_shear_deg > 1.0
