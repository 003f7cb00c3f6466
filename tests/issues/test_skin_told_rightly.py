"""What is told of the skin is so: nearest places only, recesses and bosses too, no step without a place."""

from __future__ import annotations

import math

import pytest

from plugs.body.body import Solid, make_solid, make_tools
from plugs.body.tool_proof import prove_tools
from plugs.findings import skin_doubts
from plugs.ground.errors import PlugError
from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, LinesPlan, Station
from plugs.recesses.recess import Boss, Recess
from plugs.recipe.plug import Plug
from plugs.skin.offset import foam_loft
from plugs.skin.proof import SkinProof, skin_steps
from plugs.skin.skin import Skin, make_cover
from tests.invariants.made_skins import random_skin
from tests.shapes import box_plan
from tests.skins import laid, largest_gap

BOX = box_plan(300.0, 200.0, 100.0)
SIDES = ("floor", "low side", "high side", "deck")


def test_no_far_place_is_taken_for_the_nearest() -> None:
    """A raked end of which one panel stays sharp: 80 mm were told where trimesh finds 1 mm."""
    made = random_skin(100)
    skinned = laid(made.plan, **made.words)  # type: ignore[arg-type]
    truth = abs(largest_gap(skinned, 400).excess)
    assert 0.3 < truth < 1.5
    assert 0.9 * truth < skinned.proof.largest_mm < 3.0 * truth


@pytest.mark.parametrize(("seed", "before"), [(30, 0.31), (91, 0.58)])
def test_blends_that_run_into_an_end_lie_deep_enough(seed: int, before: float) -> None:
    """Beside a panel that stays sharp a blend was off by so many mm; less than half of that is left."""
    made = random_skin(seed)
    skinned = laid(made.plan, **made.words)  # type: ignore[arg-type]
    assert abs(largest_gap(skinned, 300).excess) < before / 2.0


def test_blend_over_an_edge_that_hardly_turns_is_left_as_it_is() -> None:
    """There the radius says little of where the blend lies: it was brought 1.3 mm too near."""
    made = random_skin(194)
    assert abs(largest_gap(laid(made.plan, **made.words), 300).excess) < 0.5  # type: ignore[arg-type]


def _shouldered(first_deg: float, last_deg: float) -> LinesPlan:
    """Return a bar whose side turns half way up, by one angle in front and another at the rear."""

    def at(x: float, turn_deg: float) -> Station:
        lean = math.radians(turn_deg)
        y, z = 100.0 - 80.0 * math.sin(lean), 80.0 + 80.0 * math.cos(lean)
        corners = {"low": Corner(100.0, 0.0), "knee": Corner(100.0, 80.0), "high": Corner(y, z)}
        return Station(x=x, corners=corners)

    return LinesPlan(stations=[at(0.0, first_deg), at(300.0, last_deg)], panels=SIDES)


def test_skin_that_steps_where_the_foam_cannot() -> None:
    """4 mm beside nothing over an edge that turns by 6 degrees and less: refused, and both remedies do."""
    plan = _shouldered(6.0, -6.0)
    with pytest.raises(PlugError) as caught:
        laid(plan, 4.0, no_laminate=("low side",))
    error = caught.value
    assert error.param == "skin.by_panel['low side']"
    assert "turns by only 6 degrees" in error.reason
    assert error.remedy.startswith("use 4,")
    assert laid(plan, 4.0).proof.largest_mm < 0.1
    assert laid(_shouldered(30.0, 30.0), 4.0, no_laminate=("low side",)).proof.largest_mm < 0.1


def test_foam_that_steps_far_from_an_edge_is_told() -> None:
    """2 mm beside nothing at 10 degrees: where two parallels meet, 2 / sin 10 = 11.5 mm from the edge."""
    skinned = laid(_shouldered(10.0, 10.0), 2.0, no_laminate=("low side",))
    (step,) = skin_steps(skinned.finish, skinned.cover)
    assert (step.thin, step.thick, step.thin_mm, step.thick_mm) == ("low side", "high side", 0.0, 2.0)
    assert step.turn_deg == pytest.approx(10.0)
    assert step.run_mm == pytest.approx(2.0 / math.sin(math.radians(10.0)))
    knee = skinned.foam.sections(skinned.foam.breaks).corners[
        0, skinned.foam.table.panel_names.index("high side")
    ]
    assert 80.0 - knee[1] == pytest.approx(step.run_mm)
    other = laid(_shouldered(31.0, 31.0), 2.0, no_laminate=("low side",))
    assert skin_steps(other.finish, other.cover) == ()


def _solids(skin: float, *, bosses: tuple[Boss, ...] = (), recesses: tuple[Recess, ...] = ()) -> list[Solid]:
    """Return a box with tools as it is finished, and its foam."""
    finish = checked_loft(BOX)
    cover = make_cover(finish, Skin(thickness=skin))
    found = []
    for loft, over in ((finish, None), (foam_loft(finish, cover), cover)):
        tools = make_tools(finish, bosses, "bosses", over) + make_tools(finish, recesses, "recesses", over)
        found.append(make_solid(loft, tools, (), 0.01))
    return found


@pytest.mark.parametrize("skin", [1.0, 3.0])
def test_sharp_foot_of_a_boss_is_told(skin: float) -> None:
    """Both faces lie a skin under theirs, the edge between them the root of two as deep (Pythagoras)."""
    boss = Boss(panel="deck", x=150.0, width=60.0, height=40.0, rise=12.0, corner_radius=8.0)
    (found,) = prove_tools(*_solids(skin, bosses=(boss,)))
    assert found.excess_mm == pytest.approx((math.sqrt(2.0) - 1.0) * skin, abs=0.02)
    assert found.asked_mm == pytest.approx(skin)
    assert found.place[2] == pytest.approx(100.0 - skin, abs=0.01)
    assert (found.param, found.name) == ("bosses[0]", "boss on deck")
    plug = Plug(name="Box", stations=BOX.stations, panels=BOX.panels)
    proof = SkinProof(
        largest_mm=0.0, asked_mm=skin, place=(0.0, 0.0, 0.0), panel="deck", count=1, tools=(found,)
    )
    (told,) = (f for f in skin_doubts(plug, proof) if f.code == "skin-inside-edge")
    assert told.where.startswith("bosses[0] at x = ")
    assert f"radius of {skin:g} mm" in told.remedy


@pytest.mark.parametrize("draft", [0.0, 12.0])
def test_recess_lies_as_deep_as_asked(draft: float) -> None:
    """Walls, floor, and the rounds that a pocket's inside edges have in the foam."""
    recess = Recess(
        panel="deck", x=150.0, width=60.0, height=40.0, depth=12.0, corner_radius=6.0, draft_deg=draft
    )
    (found,) = prove_tools(*_solids(2.0, recesses=(recess,)))
    assert abs(found.excess_mm) < 0.05
    assert found.count > 50
