"""Edges of recesses and bosses that cloth goes over: each there, as long as a rule finds it on the foam."""

import math

import pytest

from plugs.laminate.radii import fillet_mm2, judge_edges
from plugs.laminate.shape_edges import shape_edges
from plugs.laminate.skin_findings import edge_findings
from plugs.lines.checks import checked_loft
from plugs.recesses.recess import Boss, Recess, make_tool
from tests.shapes import box_plan
from tests.unit.test_skin_findings import lay


def _around(width: float, height: float, radius: float) -> float:
    """Return the outline of a rectangle with rounded corners: its sides, and one whole circle. Geometry."""
    return 2.0 * (width - 2.0 * radius) + 2.0 * (height - 2.0 * radius) + 2.0 * math.pi * radius


@pytest.mark.parametrize("turn_deg", [0.0, 25.0])
def test_mouth_and_floor_are_measured_all_round(turn_deg: float) -> None:
    """A pocket lying square to the centreline was measured along two of its four sides: half the filler."""
    width, height, radius, depth, draft = 120.0, 90.0, 12.0, 25.0, 8.0
    item = Recess(
        panel="deck", x=150.0, width=width, height=height, depth=depth, corner_radius=radius,
        draft_deg=draft, turn_deg=turn_deg, name="tray",
    )  # fmt: skip
    tool = make_tool(checked_loft(box_plan(300.0, 200.0, 100.0)), item, "recesses[0]")
    edges = {e.place: e for e in shape_edges([item], [tool])}
    in_by = depth * math.tan(math.radians(draft))
    assert edges["mouth of 'tray'"].length == pytest.approx(_around(width, height, radius), abs=0.01)
    floor = _around(width - 2.0 * in_by, height - 2.0 * in_by, radius - in_by)
    assert edges["floor of 'tray'"].length == pytest.approx(floor, abs=0.01)
    assert edges["wall corners of 'tray'"].length == pytest.approx(4.0 * depth, abs=0.01)


def test_boss_tells_its_foot_and_its_top() -> None:
    """Cloth bridges at a boss's sharp foot and lifts off its top, as in pockets."""
    item = Boss(panel="deck", x=150.0, width=60.0, height=50.0, rise=12.0, corner_radius=10.0, name="pad")
    tool = make_tool(checked_loft(box_plan(300.0, 200.0, 100.0)), item, "bosses[0]")
    layup = lay("mat 450")
    edges = [
        type(e)(**{**{s: getattr(e, s) for s in e.__slots__}, "between": ("deck", "deck")})
        for e in shape_edges([item], [tool])
    ]
    told = {f.where: f for f in edge_findings(layup, judge_edges(layup, edges))}
    assert set(told) == {"foot of 'pad'", "top of 'pad'", "wall corners of 'pad'"}
    cm3 = 1e-3 * fillet_mm2(13.0) * _around(60.0, 50.0, 10.0)
    assert f"fillet of 13 mm, {cm3:.0f} cm3" in told["foot of 'pad'"].remedy
    assert "draw" not in told["foot of 'pad'"].remedy
    assert told["top of 'pad'"].remedy == "use a lighter cloth on the bias"  # 12.7 mm does not go into 12 mm
