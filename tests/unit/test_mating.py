"""The mating face cut by a contour: volumes and areas in closed form, fit, findings, refusals."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import trimesh

from plugs.body.body import Solid, make_solid
from plugs.body.mating import Mating, MatingFace, face_of, findings_of, make_cut
from plugs.ground.checking import checked
from plugs.ground.errors import PlugError
from plugs.lines.checks import checked_loft
from plugs.measure.fairing import fair
from plugs.mesh import mesh
from plugs.mesh.triangles import is_closed
from plugs.recipe.plug import Plug
from tests.shapes import box_plan

LENGTH, WIDTH, HEIGHT = 400.0, 200.0, 120.0
LOW, HIGH = np.array([0.0, -100.0, 0.0]), np.array([LENGTH, 100.0, HEIGHT])
BOX = checked_loft(box_plan(LENGTH, WIDTH, HEIGHT))
ACROSS = [[50.0, -150.0], [50.0, 150.0]]


def mating(**words: Any) -> Mating:
    """Return a mating face: straight across the front in plan, with changes."""
    return checked(
        Mating(**{"view": "plan", "cuts": "front", "contour": ACROSS, **words}), Mating, "mating[0]"
    )


def cut(**words: Any) -> tuple[Solid, MatingFace]:
    """Return a box of 400 x 200 x 120 cut, and its face."""
    solid = make_solid(BOX, (), (), 0.02, [make_cut(mating(**words), "mating[0]", LOW, HIGH, 0.02)])
    (face,) = solid.faces
    assert isinstance(face, MatingFace)
    return solid, face


def refusal(**words: Any) -> PlugError:
    """Return the error that a mating face is refused with."""
    with pytest.raises(PlugError) as caught:
        cut(**words)
    return caught.value


def arc(radius: float, middle: float, half_width: float = 150.0, count: int = 801) -> np.ndarray:
    """Return points on a circle in plan whose rearmost point is at x = middle."""
    y = np.linspace(-half_width, half_width, count)
    return np.stack([middle - radius + np.sqrt(radius**2 - y**2), y], axis=1)


class Round:
    """An arc of a circle in plan, as a faired curve gives its points."""

    def at(self, shares: np.ndarray) -> np.ndarray:
        """Return points at shares from 0 to 1."""
        angle = 0.2 * (2.0 * np.asarray(shares) - 1.0)
        return np.stack([800.0 * np.cos(angle) - 750.0, 800.0 * np.sin(angle)], axis=1)


@pytest.mark.parametrize(("gap", "tolerance"), [(0.0, 0.02), (2.0, 0.02), (0.0, 0.1)])
def test_chords_of_a_curve_keep_a_quarter_of_the_tolerance(gap: float, tolerance: float) -> None:
    """A chord of c on a circle of R leaves it by c2 / 8 R: there are as few as keep it within a quarter."""
    item = mating(contour=Round(), gap=gap)
    face = make_cut(item, "mating[0]", LOW, HIGH, tolerance).curve[1:-1]
    centre, radius = np.array([-750.0, 0.0]), 800.0 + gap
    off = np.hypot(*(face - centre).T) - radius
    assert np.abs(off[1:-1]).max() < 1e-5
    chord = np.hypot(*np.diff(face, axis=0).T)
    assert (chord**2).max() / (8.0 * radius) < 0.25 * tolerance * (1.0 + 1e-6)
    fewest = 320.0 / np.sqrt(8.0 * radius * 0.25 * tolerance)
    assert fewest <= len(chord) < 2.5 * fewest


@pytest.mark.parametrize(
    ("view", "cuts", "contour", "rest", "face"),
    [
        ("plan", "front", ACROSS, 350.0 * WIDTH * HEIGHT, WIDTH * HEIGHT),
        ("plan", "rear", ACROSS, 50.0 * WIDTH * HEIGHT, WIDTH * HEIGHT),
        ("plan", "front", [[0.0, -100.0], [100.0, 100.0]], 350.0 * WIDTH * HEIGHT, np.hypot(100, 200) * 120),
        ("side", "front", [[0.0, 0.0], [60.0, 120.0]], 370.0 * WIDTH * HEIGHT, np.hypot(60, 120) * WIDTH),
        ("side", "rear", [[390.0, -10.0], [390.0, 130.0]], 390.0 * WIDTH * HEIGHT, WIDTH * HEIGHT),
        ("side", "under", [[0.0, 20.0], [400.0, 60.0]], LENGTH * WIDTH * 80.0, np.hypot(400, 40) * WIDTH),
        ("end", "under", [[-100.0, 10.0], [100.0, 30.0]], LENGTH * WIDTH * 100.0, np.hypot(200, 20) * LENGTH),
    ],
)
def test_straight_contours_cut_exactly(
    view: str, cuts: str, contour: list[list[float]], rest: float, face: float
) -> None:
    """What is left of a box, and the face on it, by length times breadth times height."""
    solid, found = cut(view=view, cuts=cuts, contour=contour)
    assert solid.by_mesh.volume_mm3 == pytest.approx(rest, rel=1e-9)
    assert found.area_mm2 == pytest.approx(face, rel=1e-6)
    assert is_closed(mesh.triangles_of(solid.body)[1])


def test_contour_may_be_given_from_either_side() -> None:
    """From left to right or back: the same body."""
    first, second = cut(contour=arc(300.0, 80.0))[0], cut(contour=arc(300.0, 80.0)[::-1])[0]
    assert first.by_mesh.volume_mm3 == pytest.approx(second.by_mesh.volume_mm3, rel=1e-12)


@pytest.mark.parametrize("gap", [0.0, 4.0])
def test_round_contour_against_the_circle(gap: float) -> None:
    """What a circle of radius R + gap takes of a box, from the circular segment's formulas (any handbook)."""
    radius, middle = 300.0, 80.0
    solid, face = cut(contour=arc(radius, middle), gap=gap)
    r, half = radius + gap, 0.5 * WIDTH
    under = half * np.sqrt(r**2 - half**2) + r**2 * np.arcsin(half / r)
    taken = (middle + gap - r) * WIDTH + under
    assert solid.by_mesh.volume_mm3 == pytest.approx((LENGTH * WIDTH - taken) * HEIGHT, rel=2e-6)
    assert face.area_mm2 == pytest.approx(2.0 * r * np.arcsin(half / r) * HEIGHT, rel=2e-6)
    assert face.edge_mm == pytest.approx(4.0 * r * np.arcsin(half / r) + 2.0 * HEIGHT, rel=2e-6)


def test_gap_is_a_parallel_on_the_plugs_side() -> None:
    """Every corner of the face is the gap away from the contour's wall, by trimesh; the plug is smaller."""
    contour = arc(300.0, 80.0)
    solid, _ = cut(contour=contour, gap=5.0)
    vertices, _ = mesh.triangles_of(solid.body)
    x = np.hypot(vertices[:, 0] - (80.0 - 300.0), vertices[:, 1])
    on_face = vertices[(np.abs(x - 305.0) < 0.01)]
    wall = np.array([[*p, z] for z in (-50.0, 200.0) for p in contour])
    n = len(contour)
    i = np.arange(n - 1)
    triangles = np.concatenate(
        [np.stack([i, i + 1, i + n], axis=1), np.stack([i + 1, i + n + 1, i + n], axis=1)]
    )
    theirs = trimesh.proximity.closest_point(trimesh.Trimesh(wall, triangles, process=False), on_face)[1]
    assert len(on_face) > 100
    assert theirs == pytest.approx(5.0, abs=1e-4)
    assert vertices[:, 0].min() > 80.0 - 300.0 + np.sqrt(305.0**2 - 100.0**2) - 1e-3


@pytest.mark.parametrize("width", [15.0, 40.0])
def test_flange_is_the_strip_round_the_face(width: float) -> None:
    """Of a rectangle 200 x 120: a b - (a - 2 w)(b - 2 w)."""
    _, face = cut(flange_width=width)
    exact = WIDTH * HEIGHT - (WIDTH - 2 * width) * (HEIGHT - 2 * width)
    assert face.flange_area_mm2 == pytest.approx(exact, rel=1e-6)


def test_no_flange_unless_asked_for_and_all_of_a_narrow_face() -> None:
    """Nothing without a width; wider than half the face, all of it."""
    assert cut()[1].flange_area_mm2 == 0.0
    assert cut(flange_width=61.0)[1].flange_area_mm2 == pytest.approx(WIDTH * HEIGHT, rel=1e-6)


def test_flange_of_a_round_face_is_that_of_it_unrolled() -> None:
    """The round face unrolled is a rectangle: arc length by height."""
    _, face = cut(contour=arc(300.0, 80.0), flange_width=20.0)
    long = 600.0 * np.arcsin(100.0 / 300.0)
    assert face.flange_area_mm2 == pytest.approx(long * HEIGHT - (long - 40.0) * (HEIGHT - 40.0), rel=1e-4)


def test_fit_is_measured_where_it_is_worst() -> None:
    """Points measured 0.4 mm off on one side, 1.1 mm on the other: which, by how much, rms of three."""
    measured = [[50.4, -60.0], [50.0, 0.0], [48.9, 70.0], [90.0, 140.0]]
    _, face = cut(measured=measured)
    assert face.count == 3  # the fourth lies beside the plug
    assert face.largest_mm == pytest.approx(1.1)
    assert face.place == (48.9, 70.0)
    assert face.axes == ("x", "y")
    assert face.rms_mm == pytest.approx(np.sqrt((0.4**2 + 1.1**2) / 3.0))
    assert (face.largest_edge_mm, face.edge_place) == (face.largest_mm, face.place)


def test_fit_allows_for_the_gap() -> None:
    """The contour itself, 3 mm from the face all along, is no miss."""
    _, face = cut(contour=arc(300.0, 80.0), gap=3.0)
    assert face.count > 400
    assert face.largest_mm < 1e-4


def test_anything_with_points_at_shares_is_a_contour() -> None:
    """A faired curve answers at(shares)."""

    class Curve:
        """A straight curve."""

        def at(self, shares: np.ndarray) -> np.ndarray:
            """Return points across the plug."""
            return np.stack([np.full(len(shares), 50.0), 300.0 * shares - 150.0], axis=1)

    assert cut(contour=Curve())[0].by_mesh.volume_mm3 == pytest.approx(350.0 * WIDTH * HEIGHT, rel=1e-9)


def test_short_contour_is_taken_straight_on_and_told() -> None:
    """30 mm too short on one side, 20 mm on the other: two warnings with those numbers; whole body."""
    solid, face = cut(contour=[[50.0, -70.0], [50.0, 80.0]])
    assert solid.by_mesh.volume_mm3 == pytest.approx(350.0 * WIDTH * HEIGHT, rel=1e-9)
    found = findings_of(face)
    assert [(f.code, f.severity) for f in found] == [("short-contour", "mind")] * 2
    assert [f.remedy for f in found] == ["measure 30 mm farther", "measure 20 mm farther"]
    assert found[0].where == "mating face, x = 50, y = -70 mm"


def test_full_contour_gives_no_finding() -> None:
    """It reaches beyond the plug and fits."""
    assert findings_of(cut()[1]) == []


def test_one_point_far_off_is_told() -> None:
    """20 points on the line and one 2 mm off."""
    measured = [[50.0, y] for y in np.linspace(-90.0, 90.0, 20)] + [[52.0, 5.0]]
    (finding,) = findings_of(cut(measured=measured)[1])
    assert finding.code == "mating-fit"
    assert finding.where == "mating face, x = 52, y = 5 mm"
    assert "2.00 mm off" in finding.message


def test_a_point_left_out_of_the_contour_is_told_once() -> None:
    """The fair contour passes 6 mm by it and says so; the fit counts it still, no finding repeats it."""
    points = [[50.0 if i != 20 else 56.0, y] for i, y in enumerate(np.linspace(-120.0, 120.0, 61))]
    curve = fair(points, tolerance=0.2)
    assert [left.index for left in curve.left_out] == [20]
    _, face = cut(contour=curve, measured=points)
    assert face.largest_mm == pytest.approx(6.0, abs=0.05)
    assert findings_of(face) == []
    (finding,) = findings_of(cut(contour=curve, measured=[*points, [52.5, 33.0]])[1])
    assert "2.50 mm off" in finding.message


@pytest.mark.parametrize(
    ("words", "param", "says"),
    [
        ({"contour": [[50.0, 0.0]]}, "mating[0].contour", "needs at least 2"),
        ({"contour": "tank"}, "mating[0].contour", "not a row of points"),
        ({"contour": [[50.0, 0.0, 1.0], [50.0, 9.0, 1.0]]}, "mating[0].contour[0]", "holds 3, not 2"),
        ({"contour": [[50.0, -150.0], [np.nan, 150.0]]}, "mating[0].contour[1][0]", "finite"),
        ({"measured": [[50.0, 0.0]]}, "mating[0].measured", "needs at least 2"),
        ({"contour": [[50.0, 120.0], [50.0, 300.0]]}, "mating[0].contour", "run across the plug"),
        ({"contour": [[900.0, -150.0], [900.0, 150.0]]}, "mating[0].contour", "x 0 to 400"),
        ({"contour": [[50.0, -150.0], [50.0, 150.0], [20.0, 150.0], [20.0, -120.0], [90.0, 170.0]]},
         "mating[0].contour", "crosses itself"),
        ({"gap": -1.0}, "mating[0].gap", "outside 0 to 100"),
        ({"gap": "3"}, "mating[0].gap", "not a number"),
        ({"flange_width": 2000.0}, "mating[0].flange_width", "outside 0 to 1000"),
        ({"contour": [[399.0, -150.0], [399.0, 150.0]], "gap": 5.0}, "mating[0]", "nothing is left"),
    ],
)  # fmt: skip
def test_faults_are_refused(words: dict[str, Any], param: str, says: str) -> None:
    """Each with the parameter and the reason."""
    error = refusal(**words)
    assert error.param == param
    assert says in error.reason


def test_gap_wider_than_the_bend_is_refused_and_the_remedy_does() -> None:
    """A hollow of radius 60 in the contour takes no gap of 80, but half of that."""
    y = np.linspace(-150.0, 150.0, 401)
    dip = 60.0 - np.sqrt(np.maximum(60.0**2 - np.minimum(np.abs(y), 55.0) ** 2, 0.0))
    contour = np.stack([100.0 + dip, y], axis=1)
    error = refusal(contour=contour, gap=80.0)
    assert error.param == "mating[0].gap"
    assert error.remedy.startswith("use 40")
    assert cut(contour=contour, gap=40.0)[0].by_mesh.volume_mm3 > 0.0


def test_what_is_no_mating_is_refused() -> None:
    """A contour alone does not say what it cuts."""
    with pytest.raises(PlugError) as caught:
        checked(Plug(name="box", stations=(), mating=(mating(), ACROSS)), Plug, "")  # type: ignore[arg-type]
    assert caught.value.param == "mating[1]"
    assert "MatingBody" in caught.value.reason


def test_a_cut_that_misses_the_body_is_refused() -> None:
    """It passes the box round the plug, but what is there was cut away by another."""
    solid, _ = cut()
    other = make_cut(mating(contour=[[20.0, -150.0], [20.0, 150.0]]), "mating[1]", LOW, HIGH, 0.02)
    with pytest.raises(PlugError) as caught:
        face_of(other, solid.body)
    assert caught.value.param == "mating[1].contour"
