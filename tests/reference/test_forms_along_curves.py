"""Forms along a curve against Pappus's theorems, and their lengths against arcs.

Sources: Pappus's theorems (a plane figure swept square to a curve has the volume of its area times the way of
its centroid, and the area of its outline times the way of the outline's centroid), the torus: textbook
geometry, from memory; values derived here. Sections by integration: rounding; the mesh: its chord tolerance
times the area; the kernel: strips within 1e-4 mm of the sections.
"""

from __future__ import annotations

import numpy as np
import pytest

from plugs import Along, Corner, Form, Plug, PlugError, Skin, Station, Work, work_out
from plugs.body.proof import integrate
from plugs.kernel.job import KernelJob
from plugs.kernel.modelling import run_job
from plugs.kernel.spline_strips import fit_strips
from plugs.lines.stations import Loft
from plugs.mesh import mesh
from plugs.mesh.grid_mesh import body_of_grid
from plugs.mesh.sampling import sample
from plugs.mesh.shaded import known, shaded, shaded_body
from plugs.recesses.form import form_lines

BEND, THICK = 100.0, 20.0
QUARTER = ((0.0, 0.0), (BEND, 0.0, BEND), (BEND, BEND))
ARC = 0.5 * np.pi * BEND


def round_bar(x: float, aside: tuple[float, float]) -> Station:
    """Return a round section about a place beside the curve: a square whose blends all but meet."""
    y, z, r = *aside, THICK * (1.0 - 1e-7)
    corners = ((1, -1), (1, 1), (-1, 1), (-1, -1))
    return Station(
        x=x, corners={f"c{i}": Corner(y + a * THICK, z + b * THICK, r) for i, (a, b) in enumerate(corners)}
    )


def bar(view: str, aside: tuple[float, float] = (0.0, 0.0)) -> Loft:
    """Return a round bar a quarter of the way round a bend of 100."""
    form = Form(
        name="bar", kind="add", mirrored=False, stations=[round_bar(0.0, aside), round_bar(ARC, aside)],
        along=Along(view=view, points=QUARTER),
    )  # fmt: skip
    return form_lines(form, "forms[0]")


@pytest.mark.parametrize(
    ("view", "aside", "way"),
    [("plan", (0.0, 0.0), BEND), ("side", (0.0, 0.0), BEND), ("plan", (30.0, 5.0), BEND - 30.0),
     ("side", (30.0, 5.0), BEND - 5.0), ("plan", (-30.0, 0.0), BEND + 30.0)],
)  # fmt: skip
def test_a_quarter_of_a_torus(view: str, aside: tuple[float, float], way: float) -> None:
    """Pappus: pi r^2 times a quarter turn of the centroid, 2 pi r times the same, and two ends of pi r^2.

    In the plane of the bend its centroid lies 2 sqrt(2) / pi (w + r^2 / 4 w) from the middle of the bend,
    w that way's radius: the first moment of the section about the axis of the bend is A (w^2 + r^2 / 4).
    """
    loft = bar(view, aside)
    volume = np.pi * THICK**2 * 0.5 * np.pi * way
    area = 2.0 * np.pi * THICK * 0.5 * np.pi * way + 2.0 * np.pi * THICK**2
    grid = sample(loft, 0.02)
    by_sections, by_mesh = integrate(loft, grid), mesh.measure(body_of_grid(grid))
    assert by_sections.volume_mm3 == pytest.approx(volume, rel=1e-6)
    assert by_sections.area_mm2 == pytest.approx(area, rel=1e-6)
    assert by_mesh.volume_mm3 == pytest.approx(volume, abs=0.02 * area)
    middle = np.array([0.0, BEND])
    reach = (way + 0.25 * THICK**2 / way) * 2.0 * np.sqrt(2.0) / np.pi / np.sqrt(2.0)
    plane = [0, 1] if view == "plan" else [0, 2]
    expected = middle + reach * np.array([1.0, -1.0])
    assert by_sections.centroid[plane] == pytest.approx(expected, rel=1e-6)
    assert by_mesh.centroid == pytest.approx(by_sections.centroid, abs=0.02)


def test_normals_of_a_torus() -> None:
    """Pictures are shaded by normals that point away from its middle circle; ends are flat."""
    loft = bar("side")
    surface = shaded(known(shaded_body(loft, sample(loft, 0.5))))
    middle = np.array([0.0, 0.0, BEND])
    from_axis = (surface.vertices - middle) * [1.0, 0.0, 1.0]
    nearest = middle + BEND * from_axis / np.linalg.norm(from_axis, axis=1, keepdims=True)
    expected = (surface.vertices - nearest) / THICK
    is_end = (np.abs(surface.normals[:, 0] + 1.0) < 1e-9) | (np.abs(surface.normals[:, 2] - 1.0) < 1e-9)
    assert is_end.sum() > 10
    ends = surface.vertices[is_end]
    assert np.minimum(np.abs(ends[:, 0]), np.abs(ends[:, 2] - BEND)).max() < 1e-6
    assert np.abs(surface.normals - expected)[~is_end].max() < 1e-3


@pytest.mark.kernel
def test_a_quarter_of_a_torus_in_the_kernel() -> None:
    """The third opinion: the same volume and area, no free edge."""
    loft = bar("plan", (30.0, 5.0))
    proof = run_job(KernelJob(name="torus", body=fit_strips(loft), wants_step=False))
    way = 0.5 * np.pi * (BEND - 30.0)
    assert proof.volume_mm3 == pytest.approx(np.pi * THICK**2 * way, rel=1e-5)
    assert proof.area_mm2 == pytest.approx(2.0 * np.pi * THICK * way + 2.0 * np.pi * THICK**2, rel=1e-5)
    assert proof.n_free_edges == 0


def rail(skin: float = 0.0, *, reach: float = 30.0, bend: float = 60.0) -> Work:
    """Return a square rail with one bend on a flat board, let in by 10 mm."""
    square = {
        "a": Corner(-10.0, -10.0),
        "b": Corner(reach, -10.0),
        "c": Corner(reach, 25.0),
        "d": Corner(-10.0, 25.0),
    }
    points = ((0.0, 0.0), (150.0, 0.0, bend), (150.0, 120.0))
    length = 270.0 - (2.0 - 0.5 * np.pi) * bend
    form = Form(
        name="rail", kind="add", mirrored=False,
        stations=[Station(x=x, corners=square) for x in (0.0, length)],
        along=Along(view="plan", points=points), move=(40.0, -60.0, 40.0),
    )  # fmt: skip
    board = [Station(x=x, corners={"low": Corner(100, 0), "high": Corner(100, 40)}) for x in (0.0, 300.0)]
    return work_out(Plug(name="board", stations=board, forms=[form], skin=Skin(thickness=skin)))


def test_a_rail_swept_round_a_bend() -> None:
    """A prism swept by Pappus: what stands over the board is 40 x 25 times the way of its centroid.

    That lies 10 mm to the inner side of the bend, so a quarter turn of 50 instead of 60; the two legs are
    90 and 60 mm.
    """
    work = rail()
    way = 90.0 + 60.0 + 0.5 * np.pi * (60.0 - 10.0)
    volume = 300.0 * 200.0 * 40.0 + 40.0 * 25.0 * way
    assert work.body.by_mesh.volume_mm3 == pytest.approx(volume, abs=0.02 * 130.0 * way)
    assert sum(layer.volume_mm3 for layer in work.layers) == pytest.approx(work.body.by_mesh.volume_mm3)
    ends = [one for one in work.form_templates if one.form == "rail"]
    assert [one.outline.area for one in ends] == pytest.approx([40.0 * 35.0] * 2)
    assert ends[1].place == pytest.approx([40.0 + 150.0 - 10.0, -60.0 + 120.0, 40.0 + 7.5])


def test_a_rail_under_a_skin() -> None:
    """Under 2 mm all that is seen of it lies 2 mm under: 36 x 25 over the board, ends cut back."""
    work = rail(2.0)
    assert work.skin_proof is not None
    (proof,) = work.skin_proof.tools
    assert proof.asked_mm == pytest.approx(2.0)
    assert proof.excess_mm < 1e-3
    assert proof.count > 50
    way = 88.0 + 58.0 + 0.5 * np.pi * 50.0
    volume = 296.0 * 196.0 * 36.0 + 36.0 * 25.0 * way
    assert work.body.by_mesh.volume_mm3 == pytest.approx(volume, abs=0.02 * 130.0 * way)


def test_a_flare_is_as_long_as_its_arc() -> None:
    """Half a circle of 300 by two corners: pi 300 = 942.5 mm along it; no station lies beyond."""
    arch = Along(
        view="side", points=((-300.0, 0.0), (-300.0, 300.0, 300.0), (300.0, 300.0, 300.0), (300.0, 0.0))
    )
    whole = [round_bar(0.0, (0.0, 0.0)), round_bar(300.0 * np.pi, (0.0, 0.0))]
    form = Form(name="flare", kind="add", mirrored=False, stations=whole, along=arch)
    course = form_lines(form, "forms[0]").table.course
    assert course is not None
    assert course.length == pytest.approx(300.0 * np.pi)
    place, heading, _ = course.at(np.array([150.0 * np.pi]))
    assert place[0] == pytest.approx([0.0, 300.0])
    assert heading[0] == pytest.approx(0.0)
    far = Form(
        name="flare",
        kind="add",
        mirrored=False,
        stations=[whole[0], round_bar(1000.0, (0.0, 0.0))],
        along=arch,
    )
    with pytest.raises(PlugError, match="942") as caught:
        form_lines(far, "forms[0]")
    assert caught.value.param == "forms[0].stations[1].x"


def test_bends_that_the_section_does_not_bear_are_refused() -> None:
    """Planes that cross within the section, a corner without a bend or without room, a form over itself."""
    with pytest.raises(PlugError, match="cross within it") as caught:
        _ = rail(reach=70.0).forms
    assert caught.value.param == "forms[0].along.points[1][2]"
    assert caught.value.would_do == (("forms[0].along.points[1][2]", 74.0),)
    assert rail(reach=70.0, bend=74.0).forms
    with pytest.raises(PlugError, match="without a radius"):
        _ = rail(bend=0.0).forms
    with pytest.raises(PlugError, match="at most 120"):
        _ = rail(bend=130.0).forms
    square = [Station(x=x, corners={"a": Corner(20, 0), "b": Corner(20, 20)}) for x in (0.0, 640.0)]
    loop = Along(view="plan", points=((0, 0), (200, 0, 40), (200, 150, 40), (60, 150, 30), (60, -80)))
    with pytest.raises(PlugError, match="runs into itself") as caught:
        form_lines(Form(name="loop", kind="add", stations=square, along=loop), "forms[0]")
    assert caught.value.param == "forms[0].along.points"
