"""Findings on a whole plug: separate pieces, shapes that do nothing, plates to be measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from types import SimpleNamespace

import shapely

from plugs.body.body import Shape, Solid, make_solid, make_tools
from plugs.findings import found as collected
from plugs.ground.doors import Check
from plugs.ground.errors import Finding
from plugs.lines.checks import checked_loft
from plugs.mesh import mesh
from plugs.recesses.recess import Recess
from plugs.recipe.plug import Plug
from plugs.skin.proof import SkinProof
from tests.shapes import box_plan

PLAN = box_plan(300.0, 700.0, 200.0)
LOFT = checked_loft(PLAN)
PLUG = Plug(name="Box", stations=PLAN.stations, panels=PLAN.panels)


def block(kind: str, low: tuple[float, float, float], high: tuple[float, float, float]) -> Shape:
    """Return a box of the recipe's own between two corners."""
    region = shapely.MultiPolygon([shapely.box(low[0], low[1], high[0], high[1])])
    return Shape(param=f"{kind}[0]", kind=kind, brep=b"", body=mesh.prism(region, low[2], high[2]))


def solid(*shapes: Shape) -> Solid:
    """Return the box with own shapes."""
    return make_solid(LOFT, (), shapes, 0.05)


def find(plug: Plug, body: Solid, given: Sequence[Finding], proof: SkinProof | None) -> tuple[Finding, ...]:
    """Return what is told of a body, its skin, and what the shop has found itself."""
    plug = replace(plug, checks=[Check(stage="body", find=lambda _: given)] if given else [])
    work = SimpleNamespace(
        plug=plug, body=body, skin_proof=proof, recipe=None, seats=(), placed=lambda make: make()
    )
    return collected(work, {"body", "finish"})  # type: ignore[arg-type]


def codes(found: tuple[Finding, ...]) -> list[tuple[str, str]]:
    """Return code and severity of findings."""
    return [(f.code, f.severity) for f in found]


def test_nothing_to_say() -> None:
    """A plain box has none."""
    assert find(PLUG, solid(), (), None) == ()


def test_plug_in_two_pieces() -> None:
    """Cut through from side to side: how many, and how small."""
    found = find(PLUG, solid(block("cut", (100.0, -400.0, -10.0), (250.0, 400.0, 300.0))), (), None)
    assert codes(found) == [("separate-pieces", "mind")]
    assert "2 pieces" in found[0].message
    assert "7000.0 cm3" in found[0].message


def test_shapes_that_do_nothing() -> None:
    """A cut that misses, an addition inside; not those that do something."""
    missing = block("cut", (900.0, 0.0, 0.0), (950.0, 50.0, 50.0))
    inside = block("added", (100.0, 0.0, 50.0), (150.0, 50.0, 100.0))
    inside = replace(inside, kind="add")
    found = find(PLUG, solid(missing, inside), (), None)
    assert codes(found) == [("unused-shape", "mind")] * 2
    assert {f.where for f in found} == {"cut[0]", "added[0]"}
    useful = replace(block("added", (100.0, 0.0, 150.0), (150.0, 50.0, 250.0)), kind="add")
    assert find(PLUG, solid(useful), (), None) == ()


def test_plates_are_to_be_measured() -> None:
    """A note for each recess that takes its size from the table, with its source."""
    item = Recess(panel="rear", z=100.0, plate="japan")
    plug = replace(PLUG, recesses=[replace(item, plate=None, width=50.0, height=50.0), item])
    body = make_solid(LOFT, make_tools(LOFT, [item], "recesses"), (), 0.05)
    (found,) = find(plug, body, (), None)
    assert (found.code, found.severity, found.where) == ("plate-size", "note", "recess on rear 2")
    assert "330 x 165" in found.message
    assert "newspaper" in found.message


def test_the_worst_come_first() -> None:
    """Then by code and place, and what is said of two places is said once."""

    def finding(code: str, severity: str, where: str) -> Finding:
        return Finding(code=code, severity=severity, where=where, message="m", remedy="r")

    given = [
        finding("b", "note", "2"),
        finding("b", "mind", "1"),
        finding("a", "note", "1"),
        finding("b", "note", "1"),
    ]
    found = find(PLUG, solid(), given, None)
    assert [(f.code, f.severity, f.where) for f in found] == [
        ("b", "mind", "1"),
        ("a", "note", "1"),
        ("b", "note", "1 and 2"),
    ]
