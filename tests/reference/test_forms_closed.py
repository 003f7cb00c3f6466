"""Forms cut from a box and put on one, against closed forms of textbook solids.

Sources: the frustum of a cone, V = pi h (R^2 + R r + r^2) / 3, and the cylinder (elementary geometry); the
parallel of a cone of slope tan a at distance T is a cone wider by T / cos a (elementary geometry). Values are
derived here. The mesh lies within its chord tolerance of the surface, which sets the tolerance of volumes:
0.02 mm times the area of the wall; the kernel integrates each face to a relative 1e-7.
"""

from __future__ import annotations

import numpy as np
import pytest

from plugs import Corner, Form, Plug, PlugError, Skin, Station, Work, work_out
from plugs.kernel.modelling import run_job
from plugs.mesh import mesh
from plugs.stages.proving import kernel_job

LENGTH, WIDTH, HEIGHT = 300.0, 200.0, 150.0
WIDE, NARROW = 50.0, 30.0
OUT = 10.0
SLOPE = (WIDE - NARROW) / LENGTH


def circle(x: float, radius: float) -> Station:
    """Return a round section: a square whose blends all but meet."""
    blend = radius * (1.0 - 1e-7)
    low, high = Corner(radius, -radius, blend), Corner(radius, radius, blend)
    return Station(x=x, corners={"low": low, "high": high})


def box_with(*forms: Form, skin: float = 0.0) -> Work:
    """Return the work on a box with forms."""
    sides = {"low": Corner(0.5 * WIDTH, 0.0), "high": Corner(0.5 * WIDTH, HEIGHT)}
    stations = [Station(x=x, corners=sides) for x in (0.0, LENGTH)]
    return work_out(Plug(name="box", stations=stations, forms=forms, skin=Skin(thickness=skin)))


def tapering(**words: object) -> Form:
    """Return a round duct, 10 mm out of the box at both ends, its radius 50 at x = 0 and 30 at x = 300."""
    ends = (circle(-OUT, WIDE + SLOPE * OUT), circle(LENGTH + OUT, NARROW - SLOPE * OUT))
    return Form(name="duct", kind="cut", stations=ends, move=(0.0, 0.0, 75.0), **words)  # type: ignore[arg-type]


def frustum(wide: float, narrow: float, length: float) -> float:
    """Return the volume of the frustum of a cone."""
    return np.pi * length * (wide**2 + wide * narrow + narrow**2) / 3.0


@pytest.mark.kernel
def test_a_tapering_duct_through_a_box() -> None:
    """300 x 200 x 150 less a frustum of radii 50 and 30: 9 000 000 - 1 539 380.4 = 7 460 619.6 mm3.

    By mesh, by the layers together, and by the kernel, whose volume wants no tolerance of chords.
    """
    work = box_with(tapering())
    volume = LENGTH * WIDTH * HEIGHT - frustum(WIDE, NARROW, LENGTH)
    assert volume == pytest.approx(7_460_619.6, abs=0.1)
    wall = np.pi * (WIDE + NARROW) * np.hypot(LENGTH, WIDE - NARROW)
    assert work.body.by_mesh.volume_mm3 == pytest.approx(volume, abs=0.02 * wall)
    assert sum(layer.volume_mm3 for layer in work.layers) == pytest.approx(work.body.by_mesh.volume_mm3)
    proof = run_job(kernel_job(work))
    assert proof.volume_mm3 == pytest.approx(volume, rel=1e-6)
    assert proof.n_free_edges == 0


def test_a_duct_under_a_skin_is_cut_wider_by_it() -> None:
    """Under 2 mm of skin the foam is 296 x 196 x 146 less the parallel cone, wider by 2 / cos(atan(1/15))."""
    skin = 2.0
    work = box_with(tapering(), skin=skin)
    more = skin * np.hypot(1.0, SLOPE)
    wide, narrow = WIDE - SLOPE * skin + more, NARROW + SLOPE * skin + more
    foam = (LENGTH - 2 * skin) * (WIDTH - 2 * skin) * (HEIGHT - 2 * skin)
    volume = foam - frustum(wide, narrow, LENGTH - 2 * skin)
    wall = np.pi * (wide + narrow) * LENGTH
    assert work.body.by_mesh.volume_mm3 == pytest.approx(volume, abs=0.02 * wall)
    finished = LENGTH * WIDTH * HEIGHT - frustum(WIDE, NARROW, LENGTH)
    assert work.finish.by_mesh.volume_mm3 == pytest.approx(finished, abs=0.02 * wall)
    proof = work.skin_proof
    assert proof is not None
    (own,) = proof.tools
    assert (own.name, own.asked_mm) == ("duct", pytest.approx(skin))
    assert own.excess_mm < 1e-6
    assert own.count > 50
    assert not [one for one in work.findings if one.code == "skin-depth"]


@pytest.mark.parametrize("turn", [(0.0, 0.0, 90.0), (0.0, 90.0, 0.0), (90.0, 0.0, 90.0)])
def test_a_duct_may_be_turned(turn: tuple[float, float, float]) -> None:
    """A cylinder of radius 40 across the box or upright takes pi 40^2 times 200 or 150."""
    upright = turn[1] == 90.0
    stations = [circle(-160.0, 40.0), circle(160.0, 40.0)]
    work = box_with(Form(name="bore", kind="cut", stations=stations, move=(150.0, 0.0, 75.0), turn_deg=turn))
    reach = HEIGHT if upright else WIDTH
    taken = np.pi * 40.0**2 * reach
    volume = LENGTH * WIDTH * HEIGHT - taken
    assert work.body.by_mesh.volume_mm3 == pytest.approx(volume, abs=0.02 * 2.0 * np.pi * 40.0 * reach)


def test_a_turned_form_lies_as_its_axes_do() -> None:
    """Turned about x, then y, then z, as scipy's rotation about fixed axes (BSD, run beside ours)."""
    from scipy.spatial.transform import Rotation

    form = Form(name="f", kind="cut", stations=(), move=(1.0, 2.0, 3.0), turn_deg=(20.0, -35.0, 50.0))
    expected = Rotation.from_euler("xyz", form.turn_deg, degrees=True).as_matrix()
    assert form.frame[:, :3] == pytest.approx(expected, abs=1e-12)
    assert form.frame[:, 3].tolist() == [1.0, 2.0, 3.0]


def test_a_bulge_stands_on_the_box_and_a_duct_goes_through_both() -> None:
    """A cylinder of radius 40, half of it over the deck, adds half of itself; a bore along it is taken off.

    Put on first, then cut: pi 40^2 / 2 x 200 more, pi 20^2 x 200 less, half of it in the box, half over it.
    """
    bar = Form(
        name="bar", kind="add", stations=[circle(50.0, 40.0), circle(250.0, 40.0)], move=(0, 0, HEIGHT)
    )
    bore = Form(
        name="bore", kind="cut", stations=[circle(0.0, 20.0), circle(400.0, 20.0)], move=(40, 0, HEIGHT)
    )
    work = box_with(bore, bar)
    taken = (
        np.pi * 20.0**2 * (200.0 + 0.5 * (10.0 + 50.0))
    )  # the bar's 200, and half a bore before and behind
    volume = LENGTH * WIDTH * HEIGHT + 0.5 * np.pi * 40.0**2 * 200.0 - taken
    assert work.body.by_mesh.volume_mm3 == pytest.approx(volume, abs=0.02 * np.pi * 120.0 * 300.0)
    assert len(mesh.parts(work.body.body)) == 1


def test_a_form_that_changes_nothing_is_refused_with_a_move_that_does() -> None:
    """Beside the plug, wholly inside it, a hollow that opens nowhere: the move that is told does."""
    from tests.invariants.followed import with_value

    inside = [circle(100.0, 20.0), circle(200.0, 20.0)]
    cases = (
        (Form(name="far", kind="cut", stations=inside, move=(0.0, 500.0, 75.0)), "does not touch"),
        (Form(name="far", kind="add", stations=inside, move=(0.0, 0.0, 400.0)), "does not touch"),
        (Form(name="hollow", kind="cut", stations=inside, move=(0.0, 0.0, 75.0)), "opens nowhere"),
        (Form(name="lump", kind="add", stations=inside, move=(0.0, 0.0, 75.0)), "wholly inside"),
    )
    for form, reason in cases:
        work = box_with(form)
        with pytest.raises(PlugError, match=reason) as caught:
            _ = work.body
        assert caught.value.param == "forms[0].move"
        ((path, move),) = caught.value.would_do
        plug = with_value(work.plug, path, move)
        assert work_out(plug).body.volume_m3 != pytest.approx(LENGTH * WIDTH * HEIGHT * 1e-9, rel=1e-6)
