"""The finished body: tools on and off, proved twice, and refused where tools meet or come out elsewhere."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from plugs.body import body as body_module
from plugs.body.body import Shape, make_solid, make_tools
from plugs.ground.errors import PlugError
from plugs.lines.checks import checked_loft
from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from plugs.mesh.triangles import is_closed
from plugs.recesses.recess import Boss, Recess
from tests.shapes import box_plan, crowned_plan, solid_of

LOFT = checked_loft(box_plan(300.0, 200.0, 100.0))
POCKET = Recess(panel="deck", x=150.0, width=60.0, height=40.0, depth=12.0)


def own_shape(kind: str, low: tuple[float, float, float], high: tuple[float, float, float]) -> Shape:
    """Return a box of the recipe's own between two corners, without the kernel's part of it."""
    x, y, z = zip(low, high, strict=True)
    region = mesh.outline(mesh.stacked(solid_of(box_plan(1000.0, 1000.0, 10.0)).body, "z"), 5.0, above=True)
    cut = region.intersection(shapely.box(x[0], y[0], x[1], y[1]))
    prism = mesh.prism(shapely.MultiPolygon([cut]), z[0], z[1])
    return Shape(param=f"{kind}[0]", kind=kind, brep=b"", body=prism)


def refused(*items: Recess | Boss) -> PlugError:
    """Return the error with which tools are refused."""
    bosses = [i for i in items if isinstance(i, Boss)]
    recesses = [i for i in items if isinstance(i, Recess)]
    tools = make_tools(LOFT, bosses, "bosses") + make_tools(LOFT, recesses, "recesses")
    with pytest.raises(PlugError) as caught:
        make_solid(LOFT, tools, (), 0.02)
    return caught.value


def test_plain_body_is_the_body() -> None:
    """Without tools nothing is changed, and both opinions are of the same body."""
    solid = make_solid(LOFT, (), (), 0.02)
    assert solid.body is solid.plain
    assert solid.by_mesh is solid.plain_by_mesh
    assert solid.by_sections.volume_mm3 == pytest.approx(6e6)


def test_a_plug_without_its_recesses_is_made_on_the_way(monkeypatch: pytest.MonkeyPatch) -> None:
    """What else is cut goes first, so that no cut is made twice for layers and gauges."""
    pockets = [POCKET, replace(POCKET, x=60.0)]
    tools, slot = make_tools(LOFT, pockets, "recesses"), own_shape("cut", (0, 0, 80), (300, 10, 100))
    solid = make_solid(LOFT, tools, (slot,), 0.02)
    made: list[Body] = []
    cut = mesh.less
    monkeypatch.setattr(mesh, "less", lambda *of: made.append(cut(*of)) or made[-1])
    whole = body_module.body_before(solid, ["recesses[0]", "recesses[1]"])
    assert not made and mesh.volume_of(whole) == pytest.approx(6e6 - 300 * 10 * 20)
    one = body_module.body_before(solid, ["recesses[0]"])
    assert len(made) == 1
    assert mesh.volume_of(whole) - mesh.volume_of(one) == pytest.approx(
        mesh.volume_of(one) - solid.by_mesh.volume_mm3
    )


def test_opinions_are_kept_apart() -> None:
    """With tools the plain body's figures stay, and the finished body has its own."""
    tools = make_tools(LOFT, [POCKET], "recesses")
    solid = make_solid(LOFT, tools, (), 0.02)
    assert solid.plain_by_mesh.volume_mm3 == pytest.approx(6e6)
    assert solid.by_mesh.volume_mm3 == pytest.approx(6e6 - 60 * 40 * 12)
    assert is_closed(mesh.triangles_of(solid.body)[1])


@pytest.mark.parametrize("field", ["volume_mm3", "centroid", "area_mm2"])
def test_a_wrong_solid_stops_the_build(field: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """If an opinion were off by 5 %, or 3 mm, nothing would come out."""
    true = body_module.integrate

    def wrong(*words: object) -> object:
        found = true(*words)  # type: ignore[arg-type]
        changed = {
            "volume_mm3": 1.05 * found.volume_mm3,
            "area_mm2": 1.05 * found.area_mm2,
            "centroid": found.centroid + 3.0,
        }
        return replace(found, **{field: changed[field]})  # type: ignore[arg-type]

    monkeypatch.setattr(body_module, "integrate", wrong)
    with pytest.raises(AssertionError, match="disagree"):
        make_solid(LOFT, (), (), 0.02)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (POCKET, replace(POCKET, x=185.0)),
        (POCKET, Boss(panel="deck", x=180.0, width=60.0, height=40.0, rise=5.0)),
        (
            Boss(panel="deck", x=150.0, width=60.0, height=40.0, rise=5.0),
            Boss(panel="deck", x=180.0, width=60.0, height=40.0, rise=5.0),
        ),
        (replace(POCKET, depth=60.0), replace(POCKET, panel="side", x=150.0, depth=90.0, height=20.0)),
    ],
)
def test_tools_that_meet(first: Recess | Boss, second: Recess | Boss) -> None:
    """Two pockets, a pocket and a pad, two pads, two pockets inside: both named, and a distance."""
    error = refused(first, second)
    assert error.param.startswith(("recesses[", "bosses["))
    assert "meets" in error.reason
    assert "mm away" in error.remedy


def test_tools_side_by_side() -> None:
    """A millimetre apart they are both built."""
    tools = make_tools(LOFT, [POCKET, replace(POCKET, x=191.0)], "recesses")
    solid = make_solid(LOFT, tools, (), 0.02)
    assert solid.by_mesh.volume_mm3 == pytest.approx(6e6 - 2 * 60 * 40 * 12)


def test_moving_by_the_remedy_does() -> None:
    """The distance that the error names is enough."""
    error = refused(POCKET, replace(POCKET, x=180.0))
    away = float(error.remedy.split("them ")[1].split(" mm")[0])
    tools = make_tools(LOFT, [POCKET, replace(POCKET, x=180.0 + away)], "recesses")
    assert not make_solid(LOFT, tools, (), 0.02).body.is_empty


def test_pocket_that_breaks_through() -> None:
    """Deeper than the plug: by how much, and the depth that leaves a skin of 1 mm."""
    error = refused(replace(POCKET, depth=105.0))
    assert error.param == "recesses[0].depth"
    assert error.remedy.startswith("use at most 99,")


def test_boss_whose_foot_comes_out_below() -> None:
    """On an arch, whose deck falls away under the pad farther than the arch is thick."""
    flat = box_plan(300.0, 200.0, 5.0)
    crowns = {"deck": 40.0, "floor": -38.0}
    loft = checked_loft(replace(flat, stations=[replace(s, crowns=crowns) for s in flat.stations]))
    pad = Boss(panel="deck", x=150.0, width=180.0, height=40.0, rise=5.0)
    with pytest.raises(PlugError) as caught:
        make_solid(loft, make_tools(loft, [pad], "bosses"), (), 0.02)
    assert caught.value.param == "bosses[0].rise"
    small = replace(pad, width=30.0)
    assert make_solid(loft, make_tools(loft, [small], "bosses"), (), 0.02).by_mesh.volume_mm3 > 0.0


def test_own_shapes_are_put_on_and_taken_off() -> None:
    """A box standing 20 mm out of the deck, and one cut out of it."""
    on = make_solid(LOFT, (), (own_shape("add", (100.0, -20.0, 50.0), (140.0, 20.0, 120.0)),), 0.02)
    assert on.by_mesh.volume_mm3 == pytest.approx(6e6 + 40 * 40 * 20)
    off = make_solid(LOFT, (), (own_shape("cut", (100.0, -20.0, 50.0), (140.0, 20.0, 120.0)),), 0.02)
    assert off.by_mesh.volume_mm3 == pytest.approx(6e6 - 40 * 40 * 50)


def test_nothing_left() -> None:
    """All cut away is no plug."""
    with pytest.raises(PlugError) as caught:
        make_solid(LOFT, (), (own_shape("cut", (0.0, -200.0, -10.0), (400.0, 200.0, 200.0)),), 0.02)
    assert caught.value.param == "cut[0]"


def test_proof_allows_for_chords_and_no_more() -> None:
    """A coarse mesh still passes: what its chords lose is known."""
    loft = checked_loft(crowned_plan())
    solid = make_solid(loft, (), (), 1.0)
    gap = abs(solid.by_sections.volume_mm3 - solid.plain_by_mesh.volume_mm3)
    assert 0.0 < gap <= solid.by_sections.area_mm2
    assert math.isfinite(float(np.sum(solid.by_mesh.centroid)))
