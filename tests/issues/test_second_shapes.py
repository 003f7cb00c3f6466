"""A second set of stations, cut from the plug or put on it: what is made of a recess is made of it.

A scoop on a bonnet panel with a tapering duct through it: one work, of which all tests ask.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely

from plugs import (
    Corner,
    Form,
    Mould,
    Plug,
    PlugError,
    Ply,
    Recess,
    Schedule,
    Skin,
    Stack,
    Station,
    Work,
    work_out,
)
from plugs.body.form_shown import form_faces
from plugs.book.scene import BookScene
from plugs.book.source import BookSource
from plugs.book.steps import recesses
from plugs.cloth.regions import surface_regions
from plugs.drawings import template_drawings
from plugs.mesh import mesh
from plugs.mesh.triangles import areas
from plugs.summary.sanding import feature_figures
from tests.invariants.followed import with_value


def scoop(**words: object) -> Plug:
    """Return a panel with a scoop on it and a duct through both."""

    def panel(x: float, half: float, z: float) -> Station:
        return Station(x=x, corners={"foot": Corner(half, 0.0), "edge": Corner(0.8 * half, z, 15.0)})

    def hood(x: float, half: float, z: float) -> Station:
        return Station(x=x, corners={"low": Corner(half, 40.0), "high": Corner(0.78 * half, z, 16.0)})

    def bore(x: float, half: float, low: float, high: float) -> Station:
        return Station(x=x, corners={"low": Corner(half, low, 12.0), "high": Corner(half, high, 12.0)})

    duct = (
        bore(-90.0, 82.0, 78.0, 112.0), bore(0.0, 70.0, 66.0, 108.0), bore(180.0, 44.0, 34.0, 94.0),
        bore(340.0, 40.0, -70.0, -20.0),
    )  # fmt: skip
    given: dict[str, object] = {
        "name": "Scooped panel",
        "panels": ("floor", "side", "deck"),
        "stations": (panel(0.0, 210.0, 60.0), panel(560.0, 230.0, 72.0)),
        "forms": (
            Form(name="hood", kind="add", panels=("seat", "cheek", "crown"),
                 stations=(hood(120.0, 130.0, 132.0), hood(480.0, 90.0, 96.0))),
            Form(name="duct", kind="cut", panels=("bottom", "flank", "roof"), stations=duct, bays="faired",
                 move=(200.0, 0.0, 0.0)),
        ),
        "skin": Skin(no_laminate=("floor",)),
        "schedule": Schedule(plies=[Ply(cloth="cloth 280"), Ply(cloth="cloth 200", zone=("deck", "hood"))],
                             resin="epoxy"),
        "stack": Stack(axis="z", thicknesses=(40.0,)),
        "chord_tolerance": 0.2,
    }  # fmt: skip
    return Plug(**(given | words))  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def work() -> Work:
    """Return the work on it."""
    return work_out(scoop())


def refused(plug: Plug, *stages: str) -> PlugError:
    """Return the error with which a plug is refused when a stage is asked for."""
    work = work_out(plug)
    with pytest.raises(PlugError) as caught:
        for stage in stages or ("body",):
            getattr(work, stage)
    return caught.value


def test_it_is_one_body_and_its_layers_are_all_of_it(work: Work) -> None:
    """One piece with one way through it; the layers add up to it."""
    assert len(mesh.parts(work.body.body)) == 1
    assert work.body.body.solid.genus() == 1
    total = sum(layer.volume_mm3 for layer in work.layers)
    assert total == pytest.approx(work.body.by_mesh.volume_mm3, rel=1e-9)


def test_its_walls_are_panels(work: Work) -> None:
    """What is seen of each form has its name, on the surface and in the schedule; the rest no cloth."""
    assert set(form_faces(work.body, 0)) == {"hood cheek", "hood crown", "hood front", "hood rear"}
    assert set(form_faces(work.body, 1)) == {"duct bottom", "duct flank", "duct roof"}
    assert work.layup is not None
    assert work.cloth is not None
    laid = work.layup.laminates
    assert {name: laid[name].plies for name in ("duct roof", "hood crown", "hood rear", "deck", "side")} == {
        "duct roof": (1,), "hood crown": (1, 2), "hood rear": (1, 2), "deck": (1, 2), "side": (1,),
    }  # fmt: skip
    found = work.cloth.areas_m2
    of_forms = {name for name in found if name.startswith(("hood", "duct")) and found[name] > 0.0}
    assert of_forms == set(form_faces(work.body, 0)) | set(form_faces(work.body, 1))
    seen = sum(areas(faces).sum() for i in (1,) for faces in form_faces(work.body, i).values())
    own = sum(found[f"duct {wall}"] for wall in ("bottom", "flank", "roof"))
    assert own == pytest.approx(1e-6 * seen, rel=0.01)
    names = surface_regions(work.body).names
    assert "right duct flank" in names
    assert "left duct flank" in names


def test_the_skin_lies_over_it_as_thick_as_its_schedule(work: Work) -> None:
    """The foam of a duct is larger by its own plies, that of the hood smaller by its own, measured."""
    assert work.skin_proof is not None
    assert work.layup is not None
    proofs = {proof.name: proof for proof in work.skin_proof.tools}
    laid = work.layup.laminates
    assert laid["hood crown"].thickness > laid["duct roof"].thickness + 0.1
    for name, panel in (("hood", "hood crown"), ("duct", "duct roof")):
        assert proofs[name].asked_mm == pytest.approx(laid[panel].thickness, rel=1e-6)
        assert proofs[name].excess_mm < 0.05
    taken = work.body.by_mesh.volume_mm3, work.finish.by_mesh.volume_mm3
    assert taken[0] < taken[1]
    found = work.found(("finish", "resin"))
    assert not [one for one in found if one.code in ("skin-depth", "skin-thickness")]


def test_edges_that_nobody_sees_are_not_minded(work: Work) -> None:
    """The foot of the hood lies in the panel; the corners of a duct are inside ones."""
    assert work.edges is not None
    places = {edge.place: edge for edge in work.edges.edges}
    assert "hood high, between hood cheek and hood crown" in places
    assert not any("hood seat" in place for place in places)
    assert places["duct low, between duct bottom and duct flank"].is_inside
    assert not places["hood high, between hood cheek and hood crown"].is_inside


def test_each_station_in_foam_has_its_template(work: Work) -> None:
    """The outline is the foam's section there; beyond the open end there is none."""
    drawn = template_drawings(work)
    assert "templates/form-02-02" in drawn
    assert "templates/form-02-01" not in drawn  # 90 mm ahead of the hood
    template = next(one for one in work.form_templates if (one.form, one.number) == ("duct", 3))
    more = 2.0 * work.lines.tools[1].cover.largest  # type: ignore[union-attr]
    left, bottom, right, top = template.outline.bounds
    assert right - left == pytest.approx(88.0 + more, abs=0.05)
    assert top - bottom == pytest.approx(60.0 + more, abs=0.3)  # its walls lean as they run down
    assert isinstance(template.outline, shapely.Polygon)


def test_the_book_and_the_summary_tell_of_it(work: Work) -> None:
    """A step for each form, with its layers and templates; no kit as of a recess."""
    told = feature_figures(work.features)
    features = {one["name"]: one for one in told}
    assert features["hood"]["kind"] == "form put on"
    assert features["duct"]["kind"] == "form cut"
    assert {"L01", "L02"} <= set(features["duct"]["layers"])
    assert not work.kits
    none = BookScene(meshes=(), views=(), axis="z")
    page = recesses(BookSource(summary={"features": told}, drawings={}, scene=none, pictures={}))
    assert "until its templates (form-...) go in at their stations" in str(page)
    assert "offered up at their stations, meet it all round" in str(page)


def test_foam_behind_a_wall_is_minded(work: Work) -> None:
    """The duct's roof comes near the hood's crown: how near, by a ray from the one to the other."""
    thin = [one for one in work.found(("resin",)) if one.code == "thin-floor"]
    assert {one.where for one in thin} <= {"wall 'duct roof'", "wall 'duct bottom'", "wall 'duct flank'"}
    assert any("duct roof" in one.where for one in thin)


def test_faults_of_its_lines_are_told_as_its_own() -> None:
    """A blend too long for its panels names the form, its station and a radius that would do."""
    plug = scoop()
    low = plug.forms[1].stations[2].corners["low"]
    path = "forms[1].stations[2].corners['low'].radius"
    error = refused(with_value(plug, path, 60.0), "forms")
    assert error.param == path
    assert error.value == 60.0
    assert error.where.startswith("form 'duct', ")
    ((where, does),) = error.would_do
    assert where == path
    assert low.radius <= does < 60.0
    assert work_out(with_value(plug, path, does)).forms


def test_a_foot_that_the_skin_lays_bare_is_refused() -> None:
    """A hood drawn 1 mm into the deck at its front parts there under 2 mm of skin; 5 mm do."""
    plug = scoop(schedule=None, skin=Skin(thickness=2.0, no_laminate=("floor",)), forms=scoop().forms[:1])

    def drawn(*deep: float) -> Plug:
        (hood,) = plug.forms
        low = [
            replace(s, corners={**s.corners, "low": Corner(90.0, 60.0 + 12.0 * s.x / 560.0 - d)})
            for s, d in zip(hood.stations, deep, strict=True)
        ]
        return replace(plug, forms=[replace(hood, stations=low)])

    error = refused(drawn(1.0, 20.0), "skin_proof")
    assert error.value == "hood seat"
    assert "draw it 5 mm or more deep" in error.remedy
    assert work_out(drawn(5.0, 20.0)).skin_proof is not None
    error = refused(drawn(1.0, 1.0))
    assert "under 2 mm of skin its foot is drawn 5 mm deep or more" in error.reason
    assert work_out(drawn(5.0, 5.0)).skin_proof is not None


def test_names_that_others_have_are_refused() -> None:
    """Two forms of one name, one called as a recess is, an end's name for a panel."""
    plug = scoop()
    hood, duct = plug.forms
    twice = refused(replace(plug, forms=[hood, replace(duct, name="hood")]), "forms")
    assert twice.param == "forms[1].name"
    assert twice.remedy == 'use a name that nothing else has, such as "hood 3"'
    pocket = Recess(panel="deck", x=60.0, width=30.0, height=30.0, depth=5.0, name="duct")
    assert refused(replace(plug, recesses=[pocket]), "forms").param == "forms[1].name"
    ends = replace(duct, panels=("front", "flank", "roof"))
    assert refused(replace(plug, forms=[hood, ends]), "forms").param == "forms[1].panels"


def test_a_recess_that_meets_a_form_is_refused() -> None:
    """A pocket in the deck under the hood: told with how far to move."""
    pocket = Recess(panel="deck", x=200.0, width=30.0, height=30.0, depth=5.0, name="pocket")
    error = refused(scoop(recesses=[pocket]))
    assert error.param == "forms[0]"
    assert "meets recesses[0], pocket" in error.reason


def test_a_duct_that_ends_in_a_point_is_refused_under_a_skin() -> None:
    """Its foam would have to go on beyond the point; without a skin it is cut as drawn."""
    point = Station(x=-60.0, corners={"low": Corner(0.0, 60.0), "high": Corner(0.0, 60.0)})
    base = Station(x=60.0, corners={"low": Corner(30.0, 40.0), "high": Corner(30.0, 80.0)})
    spike = Form(name="spike", kind="cut", stations=(base, replace(point, x=300.0)), move=(-90.0, 0.0, -20.0))
    plug = scoop(forms=[spike], schedule=None)
    assert work_out(plug).body.volume_m3 > 0.0
    error = refused(replace(plug, skin=Skin(thickness=2.0)), "lines")
    assert error.param == "forms[0].rear"


def test_a_mould_is_told_of_walls_that_hold_it() -> None:
    """The roof of a duct faces down: no mould that is pulled up comes off it."""
    found = work_out(scoop(mould=Mould())).found(("mould",))
    held = [one.where for one in found if one.code == "mould-locks"]
    assert any("duct roof" in where for where in held)
