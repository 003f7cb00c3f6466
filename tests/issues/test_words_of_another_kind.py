"""A word of a recipe that is of another kind, out of all range or out of its mind: refused, never a crash.

Every field of every record that a recipe may write is given some forty values that it was not made for. The
list is made from the records themselves, so that a new field is in it. No outside source: the rule is ours.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import fields, is_dataclass, replace
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

import plugs
from plugs import (
    Adhesive,
    Along,
    Barrier,
    Board,
    Boss,
    Bow,
    Check,
    Cloth,
    Corner,
    Cutting,
    DartCut,
    Edge,
    End,
    Filler,
    Foam,
    Form,
    Glue,
    Gutter,
    Hardener,
    HardPoint,
    Hollow,
    Joints,
    Laps,
    Mating,
    MatingBody,
    Mould,
    MouldPart,
    Opening,
    Output,
    Pins,
    Plug,
    Ply,
    PocketCutting,
    Recess,
    Resin,
    Rim,
    Router,
    Sanding,
    Schedule,
    Shop,
    Skin,
    Stack,
    Station,
    Stock,
    Templates,
    WireAxis,
    WireCutter,
    WireWork,
    Zone,
)  # fmt: skip
from plugs.foam.layers import make_layers
from plugs.ground.checking import checked
from plugs.ground.errors import PlugError, shown
from plugs.laminate.generic import BARRIERS, BOARDS, CLOTHS, FILLERS, FOAMS, GLUES, HARDENERS, RESINS
from plugs.recipe.plug import checked_plug
from plugs.work import opened
from tests.shapes import solid_of

CORNERS = {"chine": Corner(100.0, 0.0), "edge": Corner(80.0, 120.0, 10.0)}
FIRST, LAST = (Station(x=x, corners=CORNERS, crowns={"deck": 2.0}) for x in (0.0, 300.0))
RECESS = Recess(panel="deck", x=150.0, width=60.0, height=40.0, depth=12.0)
BOSS = Boss(panel="front", z=60.0, width=60.0, height=40.0)
MATING = Mating(view="plan", cuts="front", contour=[(5.0, -200.0), (5.0, 200.0)])
FOOT = {"heel": Corner(20.0, -30.0), "toe": Corner(20.0, 30.0)}
ALONG = Along(view="plan", points=((0.0, 0.0), (40.0, 0.0, 60.0), (80.0, 14.0)))
FORM = Form(
    name="rib", kind="add", stations=[Station(x=x, corners=FOOT) for x in (0.0, 70.0)], along=ALONG,
    move=(195.0, 0.0, 120.0),
)  # fmt: skip
PLUG = Plug(
    name="Hump", stations=(FIRST, LAST), panels=("floor", "side", "deck"), recesses=(RECESS,), bosses=(BOSS,),
    forms=(FORM,), mating=(MATING,), schedule=Schedule(plies=(Ply(cloth="mat 450"),)), foam="xps 35",
    hollow=Hollow(), templates=Templates(), stock=(Stock(width=1250.0, height=600.0, thickness=50.0),),
    zones=(Zone(name="top", panels=("deck",)),), skin=Skin(no_laminate=("floor",)),
    darts=(DartCut(zone="top", edge=(0.0, 0.0, 120.0), tip=(90.0, 0.0, 120.0)),),
)  # fmt: skip


BARE = checked(Plug(name="Hump", stations=(FIRST, LAST)), Plug, "it")
"""With few words, so that each of all can be given a value by itself in little time."""


def with_words_of(plug: Plug) -> Plug:
    """Return the plug with the words by which another is not the bare one."""
    given = {field.name: getattr(plug, field.name) for field in fields(Plug)}
    return replace(PLUG, **{k: value for k, value in given.items() if value is not getattr(BARE, k)})


def scheduled(**words: Any) -> Plug:
    """Return the plug with changed words of its schedule."""
    return replace(PLUG, schedule=replace(PLUG.schedule or Schedule(), **words))


def with_corner(corner: Corner) -> Plug:
    """Return the plug with another corner."""
    return replace(PLUG, stations=(FIRST, replace(LAST, corners={**CORNERS, "edge": corner})))


def by_wire(**words: Any) -> Plug:
    """Return the plug cut by wire."""
    return replace(PLUG, wire=WireWork(**words))


HARD_POINT = HardPoint(name="latch", panel="deck", x=100.0, width=30.0, height=30.0)

LIP = Edge(name="lip", on="front", lines=("deck",), width=15.0)
GUTTER = Gutter(inset=12.0, width=12.0, depth=4.0)
SHARP = replace(PLUG, stations=tuple(
    replace(one, corners={**CORNERS, "edge": Corner(80.0, 120.0)}, crowns={}) for one in (FIRST, LAST)
), recesses=(), bosses=(), forms=(), mating=(), hollow=None, darts=(), zones=())  # fmt: skip
WINDOW = Opening(panel="side", side="right", x=230.0, width=40.0, height=30.0)
RIM = Rim(kind="return flange", width=12.0)


def with_gutter(gutter: Gutter) -> Plug:
    """Return a sharp plug with a channel along its right edge."""
    channel = Edge(
        name="channel", kind="drip gutter", on="deck", lines=("right edge",), width=50.0, gutter=gutter
    )
    return replace(SHARP, edges=(channel,))


PLACES: dict[type, tuple[Any, Callable[[Any], Plug]]] = {
    Plug: (BARE, with_words_of),
    Corner: (CORNERS["edge"], with_corner),
    Station: (LAST, lambda r: replace(PLUG, stations=(FIRST, r))),
    End: (End(), lambda r: replace(PLUG, rear=r)),
    Recess: (RECESS, lambda r: replace(PLUG, recesses=(r,))),
    Boss: (BOSS, lambda r: replace(PLUG, bosses=(r,))),
    HardPoint: (HARD_POINT, lambda r: replace(PLUG, hard_points=(r,))),
    Opening: (WINDOW, lambda r: replace(PLUG, openings=(r,))),
    Rim: (RIM, lambda r: replace(PLUG, openings=(replace(WINDOW, rim=r),))),
    Edge: (LIP, lambda r: replace(PLUG, edges=(r,))),
    Gutter: (GUTTER, with_gutter),
    Mould: (Mould(), lambda r: replace(PLUG, mould=r)),
    MouldPart: (MouldPart(name="mould"), lambda r: replace(PLUG, mould=Mould(parts=(r,)))),
    Form: (FORM, lambda r: replace(PLUG, forms=(r,))),
    Along: (ALONG, lambda r: replace(PLUG, forms=(replace(FORM, along=r),))),
    Mating: (MATING, lambda r: replace(PLUG, mating=(r,))),
    MatingBody: (MatingBody(body="tank.stl"), lambda r: replace(PLUG, mating=(r,))),
    Skin: (PLUG.skin, lambda r: replace(PLUG, skin=r)),
    Stack: (Stack(), lambda r: replace(PLUG, stack=r)),
    Stock: (PLUG.stock[0], lambda r: replace(PLUG, stock=(r,))),
    Cutting: (Cutting(), lambda r: replace(PLUG, cutting=r)),
    Joints: (Joints(), lambda r: replace(PLUG, joints=r)),
    Hollow: (Hollow(), lambda r: replace(PLUG, hollow=r)),
    Glue: (Glue(), lambda r: replace(PLUG, glue=r)),
    Pins: (Pins(), lambda r: replace(PLUG, pins=r)),
    Templates: (Templates(), lambda r: replace(PLUG, templates=r)),
    Sanding: (Sanding(), lambda r: replace(PLUG, sanding=r)),
    PocketCutting: (PocketCutting(), lambda r: replace(PLUG, pocket_cutting=r)),
    Schedule: (PLUG.schedule, lambda r: replace(PLUG, schedule=r)),
    Ply: (Ply(cloth="mat 450"), lambda r: scheduled(plies=(r,))),
    Shop: (Shop(), lambda r: replace(PLUG, shop=r)),
    Laps: (Laps(), lambda r: replace(PLUG, laps=r)),
    Zone: (PLUG.zones[0], lambda r: replace(PLUG, zones=(r,))),
    DartCut: (PLUG.darts[0], lambda r: replace(PLUG, darts=(r,))),
    Foam: (FOAMS["pu 40"], lambda r: replace(PLUG, foam=r)),
    Cloth: (CLOTHS["mat 450"], lambda r: scheduled(plies=(Ply(cloth=r),))),
    Resin: (RESINS["epoxy"], lambda r: scheduled(resin=r)),
    Hardener: (HARDENERS["mekp"], lambda r: scheduled(hardener=r)),
    Barrier: (next(iter(BARRIERS.values())), lambda r: scheduled(barrier=r)),
    Adhesive: (next(iter(GLUES.values())), lambda r: replace(PLUG, adhesive=r)),
    Filler: (next(iter(FILLERS.values())), lambda r: replace(PLUG, filler=r)),
    Board: (next(iter(BOARDS.values())), lambda r: replace(PLUG, board=r)),
    Output: (Output(kind="saw-list", make=lambda _: {}), lambda r: replace(PLUG, outputs=(r,))),
    WireWork: (WireWork(machine=WireCutter()), lambda r: replace(PLUG, wire=r)),
    WireCutter: (WireCutter(), lambda r: by_wire(machine=r)),
    WireAxis: (WireAxis(letter="X"), lambda r: by_wire(machine=WireCutter(near=(r, WireAxis(letter="Y"))))),
    Bow: (Bow(), lambda r: by_wire(bow=r)),
    Router: (Router(), lambda r: replace(PLUG, router=r)),
    Check: (Check(stage="body", find=lambda _: ()), lambda r: replace(PLUG, checks=(r,))),
}
"""Where each record stands in a plug."""


class Shy:
    """A thing that cannot show itself."""

    def __repr__(self) -> str:
        """Fail."""
        raise RuntimeError("no words for it")


ENDLESS: list[Any] = []
ENDLESS.append(ENDLESS)

VALUES: tuple[Any, ...] = (
     None, float("nan"), float("inf"), float("-inf"), -1, 0, 1e308, -1e308, 1e-300, True, False,
    10**400, 10**5000, 1 + 2j, Decimal("1.5"), Fraction(10**400, 3), "", "text", " ", "a\nb", "\x07",
    "\ud800", "\u202e", "\0", "x" * 100_000, b"x", bytearray(b"x"), [], (), {}, set(), object(), Shy(),
    lambda: 1, print, int, ..., np.array([1.0, np.nan]), np.zeros((2, 2)), np.array(5.0),
    np.float32(3.0), np.bool_(True), np.str_("deck"), np.array(["a", None]),
    np.datetime64("2020-01-01"), [[[]]], ENDLESS, [None], ["\ud800"], [Shy()], range(3), range(10**9),
    {1: 2}, {None: None}, {"deck": float("nan")}, {"": 1.0}, {"chine": CORNERS}, {Shy(): Shy()},
    CORNERS["chine"], RECESS, BOSS, PLUG, (PLUG,), Path("nowhere"), (i for i in range(3)), (0.0, 1.0,
    2.0, 3.0),
)  # fmt: skip


def test_no_record_is_forgotten() -> None:
    """All that a recipe may write has its place in the plug above; a finding is what it gets, not writes."""
    records = [getattr(plugs, name) for name in plugs.__all__]
    assert {r for r in records if isinstance(r, type) and is_dataclass(r)} - {plugs.Finding} == set(PLACES)
    assert checked_plug(PLUG, "hump").name == "Hump"


SHAPING = {**dict.fromkeys((Corner, Station, End, Skin), "lines"), **dict.fromkeys((Form, Along), "forms")}
"""Records whose every word goes on to a stage of the shape, which checks what takes two words together."""


@pytest.mark.parametrize("kind", list(PLACES), ids=lambda kind: kind.__name__)
def test_any_value_is_checked_or_refused(kind: type, tmp_path: Path) -> None:
    """Refused by its field, in three lines that can be printed; what passes goes on to the shape."""
    recipe = tmp_path / "hump.py"
    text = "import plug_on_trial\n\ndef hump():\n    return plug_on_trial.plug\n"
    recipe.write_text(text, encoding="utf-8")
    trial = ModuleType("plug_on_trial")
    sys.modules[trial.__name__] = trial
    record, place = PLACES[kind]
    refused, seen = 0, set[str]()
    for word, value in ((field.name, value) for field in fields(kind) for value in VALUES):
        try:
            passed = checked(replace(record, **{word: value}), kind, "it")
            assert checked(passed, kind, "it") is passed, word  # what was passed once is plain
            shape = f"{word} {shown(getattr(passed, word))}"
            if shape not in seen:
                seen.add(shape)
                trial.plug = checked_plug(place(passed), "hump")  # type: ignore[attr-defined]
                if kind in SHAPING:
                    getattr(opened(recipe, {}), SHAPING[kind])
        except PlugError as error:
            refused += 1
            assert len(str(error).encode("utf-8").splitlines()) == 3, (word, error)
    assert refused > 30 * len(fields(kind))


@pytest.mark.parametrize(
    ("plug", "param", "why", "do"),
    [
        (replace(PLUG, recesses=(BOSS,)), "recesses[0]", "a Boss, not a Recess", "Recess("),
        (replace(PLUG, stations=(FIRST, replace(LAST, corners={1: CORNERS["edge"]}))),
         "stations[1].corners[1]", "a number, not text", '"name"'),
        (replace(PLUG, stations=(FIRST, replace(LAST, corners={}))), "stations[1].corners", "nothing",
         "Corner("),
        (replace(PLUG, stations=(FIRST, replace(LAST, crowns=3.0))), "stations[1].crowns", "a number",
         "crowns={"),
        (replace(PLUG, rear=End(sharp="floor")), "rear.sharp", "text, not a list", 'sharp=("floor",)'),
        (replace(PLUG, rear=End(sharp=None)), "rear.sharp", "None, not a list", "sharp=("),
        (replace(PLUG, recesses=(replace(RECESS, plate=["us"]),)), "recesses[0].plate", "a list", 'plate="'),
        (scheduled(plies=Ply(cloth="mat 450")), "schedule.plies", "a Ply, not a list", "plies=(Ply(...),)"),
        (replace(PLUG, darts=("top",)), "darts[0]", "text, not a DartCut", "DartCut("),
        (with_corner(Corner(80.0, "120")), "stations[1].corners['edge'].z", "text, not a number", "z=120.0"),
        (replace(PLUG, name="Seat\x07hump"), "name", "U+0007", '"Seat hump"'),
        (replace(PLUG, hollow=True), "hollow", "True, not a Hollow", "hollow=Hollow()"),
        (replace(PLUG, stations=(FIRST,) * 5000), "stations", "5000", "at most 1000"),
    ],
)  # fmt: skip
def test_refusal_reads_well(plug: Plug, param: str, why: str, do: str) -> None:
    """It names what is written in the recipe, what it is, what belongs there, and what to write."""
    with pytest.raises(PlugError) as caught:
        checked_plug(plug, "hump")
    assert caught.value.param == param
    assert why in caught.value.reason
    assert do in caught.value.remedy


def test_layers_beyond_gluing_are_refused() -> None:
    """A plug 20 m high of sheets of 0.5 mm is a typing error: told before 40,000 layers are made."""
    high = {**CORNERS, "edge": Corner(80.0, 19_000.0)}
    stations = [replace(s, corners=high, crowns={}) for s in (FIRST, LAST)]
    body = solid_of(Plug(name="Mast", stations=stations).plan()).body
    with pytest.raises(PlugError, match="5000 layers") as caught:
        make_layers(body, Stack(thicknesses=(0.5,)))
    assert caught.value.param == "stack.thicknesses"
    assert "3.8 mm" in caught.value.remedy  # 19 m in 5000
