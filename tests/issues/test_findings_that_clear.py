"""Findings whose remedy holds a number for the recipe: that number is put in, and the finding is gone.

Every code of a finding stands here: with a small recipe that gives it, or with the reason why its remedy
holds no number that goes into one.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import pytest

from plugs.ground.errors import Finding
from plugs.ground.lengths import in_unit
from plugs.wire.programs import NOT_REACHED
from plugs.work import opened
from tests.issues.test_sizes_in_inches import mm_of

ROOT: Final = Path(__file__).parents[2]
HEAD: Final = '''"""A plain thing."""
from plugs import *

SHEETS = [Stock(width=1200.0, height=600.0, thickness=50.0)]
FLAT, STOOD = Stack(thicknesses=(50.0,)), Stack(axis="x", between_templates=True)


def box(length, half, height, radius=0.0, crown=0.0, **words):
    corners = {"foot": Corner(half, 0.0), "edge": Corner(half, height, radius)}
    crowns = {"deck": crown} if crown else {}
    given = dict(stations=[Station(x=x, corners=corners, crowns=crowns) for x in (0.0, length)], name="Box")
    return Plug(**{**given, "panels": ("floor", "side", "deck"), **words})


def wedge(first, last, length, **words):
    stations = [Station(x=x, corners={"foot": Corner(60.0, 0.0), "edge": Corner(60.0, z)})
                for x, z in ((0.0, first), (length, last))]
    return box(length, 60.0, first, stations=stations, **words)


def bent(length, half, height, **words):
    places = {"foot": (half, 0.0), "knuckle": (half, 0.5 * height), "edge": (half - 5.0, height)}
    corners = {name: Corner(*place) for name, place in places.items()}
    return box(length, half, height, stations=[Station(x=x, corners=corners) for x in (0.0, length)],
               panels=("floor", "wale", "side", "deck"), **words)


def laid(length, half, height, radius, cloth="mat 450", resin="epoxy", **words):
    given = dict(skin=Skin(no_laminate=("floor", "front", "rear", "side")), foam="xps 35")
    given["schedule"] = Schedule(plies=(Ply(cloth=cloth),), resin=resin)
    return box(length, half, height, radius, **{**given, **words})


def plug(value='''


@dataclass(frozen=True, kw_only=True)
class Case:
    """A recipe that gives a finding, and how the number in its remedy is put into it.

    Attributes
    ----------
    code : str
    first : float or None
        What the recipe says before.
    plug : str
        What its function returns, for a value.
    told : str
        Where the number stands in the remedy.
    then : callable
        From what was said before and the numbers, what is said next.
    """

    code: str
    first: float | None
    plug: str
    told: str
    then: Callable[..., float] = lambda before, number: number


CASES: Final = [
    Case(
        code="few-screws",
        first=60.0,
        plug='box(300.0, 60.0, 90.0, stack=Stack(axis="x", thicknesses=(50.0,), between_templates=True), '
        "templates=Templates(stations=(0.0, 150.0), hole_margin=value))",
        told=r"templates\.hole_margin of at most ([\d.]+)",
    ),
    Case(
        code="little-glue",
        first=40.0,
        plug="box(300.0, 42.0, 90.0, stack=FLAT, glue=Glue(margin=value))",
        told=r"glue\.margin of at most ([\d.]+)",
    ),
    Case(
        code="joint-stagger",
        first=600.0,
        plug="box(2484.0, 286.0, 100.0, stack=FLAT, joints=Joints(stagger=value), stock=SHEETS)",
        told=r"a stagger of ([\d.]+)",
    ),
    Case(
        code="pin-near-joint",
        first=10.0,
        plug="box(1400.0, 17.0, 100.0, stack=FLAT, glue=Glue(margin=2.0), "
        "pins=Pins(diameter=value, clearance=2.0), stock=SHEETS)",
        told=r"pins of ([\d.]+) mm \(pins\.diameter\)",
    ),
    Case(
        code="thin-layer",
        first=103.3,
        plug="box(300.0, 60.0, value, stack=FLAT)",
        told=r"a plug ([\d.]+) mm lower",
        then=lambda before, number: before - number,
    ),
    Case(
        code="sheets-to-spare",
        first=5,
        plug="box(300.0, 60.0, 90.0, stack=Stack(thicknesses=(50.0,) * int(value), order='explicit'))",
        told=r"list (\d+)",
    ),
    Case(
        code="just-over-sheet",
        first=10.0,
        plug="box(1170.0, 295.0, 90.0, stack=FLAT, cutting=Cutting(edge_margin=value), stock=SHEETS)",
        told=r"cutting\.edge_margin=([\d.]+)",
    ),
    Case(
        code="station-without-template",
        first=None,
        plug="box(300.0, 60.0, 90.0, skin=Skin(thickness=3.0), stack=STOOD, "
        'templates=Templates(thickness=2.0, stations="all" if value is None else (value, 150.0)))',
        told=r"from ([\d.]+) to",
    ),
    Case(
        code="weak-slot",
        first=260.0,
        plug="wedge(60.0, 5.0, 300.0, stack=STOOD, templates=Templates(stations=(value,), lengthwise=0.0))",
        told=r"least ([\d.]+) mm high",
        then=lambda before, number: (60.0 - number) / 55.0 * 300.0 - 6.0 - 0.1,
    ),
    Case(
        code="skin-step",
        first=1.0,
        plug='bent(300.0, 100.0, 90.0, skin=Skin(thickness=1.6, by_panel={"wale": value}))',
        told=r"lay ([\d.]+) mm over",
    ),
    Case(
        code="thin-floor",
        first=95.0,
        plug="laid(300.0, 100.0, 100.0, 0.0, schedule=Schedule(), "
        'recesses=[Recess(panel="deck", x=150.0, width=80.0, height=90.0, depth=value, draft_deg=5.0)])',
        told=r"make it ([\d.]+) mm less deep",
        then=lambda before, number: before - number,
    ),
    Case(
        code="blend-tight",
        first=4.0,
        plug='laid(300.0, 100.0, 90.0, value, skin=Skin(no_laminate=("floor", "front", "rear")))',
        told=r"draw the blend with ([\d.]+) mm",
    ),
    Case(
        code="skin-thickness",
        first=3.0,
        plug="laid(300.0, 100.0, 90.0, 20.0, "
        'skin=Skin(thickness=value, no_laminate=("floor", "front", "rear", "side")))',
        told=r"use a thickness of ([\d.]+) mm",
    ),
    Case(
        code="large-flat",
        first=0.0,
        plug='laid(900.0, 400.0, 120.0, 60.0, "cloth 280", crown=value, foam_stays=False)',
        told=r"crown it by ([\d.]+) mm",
    ),
    Case(
        code="no-draft",
        first=0.0,
        plug="laid(300.0, 100.0, 90.0, 20.0, schedule=Schedule(), "
        'mould=Mould(no_mould=("side", "front", "rear", "floor")), '
        'recesses=[Recess(panel="deck", x=150.0, width=80.0, height=90.0, depth=30.0, draft_deg=value)])',
        told=r"give it ([\d.]+) degrees",
    ),
    Case(
        code="shop-cold",
        first=8.0,
        plug="laid(300.0, 100.0, 90.0, 20.0, shop=Shop(temperature_c=value))",
        told=r"to ([\d.]+) C",
    ),
    Case(
        code="pot-life-short",
        first=28.0,
        plug="laid(900.0, 400.0, 90.0, 20.0, shop=Shop(temperature_c=value), "
        'resin=from_data_sheet(RESINS["epoxy"], pot_life_min=7.0, pot_life_c=25.0, '
        "ratio_by_mass=(100.0, 40.0)))",
        told=r"at ([\d.]+) C or less",
    ),
    Case(
        code="short-contour",
        first=60.0,
        plug="box(300.0, 100.0, 90.0, mating=[Mating(view='plan', cuts='front', "
        "contour=((20.0, -100.0), (25.0, 0.0), (20.0, value)))])",
        told=r"measure ([\d.]+) mm farther",
        then=lambda before, number: before + number,
    ),
]

ELSEWHERE: Final = {
    "edge-sunk-by-blend": "test_edges_sunk_by_blends.py::test_a_thin_edge_is_told_with_what_is_off",
    "mould-locks": "test_mould_is_taken.py::test_each_way_that_is_told_for_a_pocket_lets_it_go",
    "square-edge": "test_hard_points.py::test_doubts_are_told",
    "hollow-under-hard-point": "test_hard_points.py::test_doubts_are_told",
    "router-loose": "../reference/test_router.py::test_parts_that_come_loose_are_told",
    "fair-beyond-tolerance": "test_fair_points_told.py::test_kept_points_beyond_the_tolerance_are_told",
    "hump-between-stations": "test_lines_that_hump.py::"
    "test_hump_is_told_with_its_size_and_place_and_the_remedy_clears_it",
    "inside-corner": "test_remedies_that_do.py::test_wall_corners_drawn_as_their_finding_says",
    "measured-panel": "test_measured_panels_followed.py::test_points_that_no_arcs_follow_are_told",
    "too-thick-wet": "../unit/test_skin_findings.py::test_thick_wet_build_up",
}
"""Codes whose number another test puts in."""

NONE: Final = {
    "barrier-trial": "a trial on an offcut",
    "cloth-does-not-reach": "another start or a split, to be chosen",
    "cloth-folds": "a split or a dart, to be chosen",
    "cloth-wrinkles": "each way is told with the shear that is left, which may still lock",
    "cloth-not-draped": "a split or another start, to be chosen",
    "cloth-over-hole": "a cut at the bench",
    "cloth-overlaps": "a split, to be chosen",
    "cloth-shears": "work at the bench",
    "curved-under-flat": "a plane at the bench, or a narrower piece",
    "raised-surface": "filler at the bench",
    "resin-eats-insert": "another material",
    "mouth-kink": "sandpaper at the bench",
    "seat": "a shape to move",
    "dose-range": "a sheet to be read again",
    "dose-unknown": "a value off the resin's sheet",
    "few-pins": "words to make smaller, none of which does by itself",
    "filler-dissolves-foam": "another filler",
    "foam-dissolved": "another resin or foam",
    "foam-heat": "how thick to lay at the bench; no word of the recipe",
    "gauge-bridges": "work at the bench",
    "gauge-in-blend": "another place, to be chosen",
    "gauge-large": "two boards to butt",
    "gauge-words": "words to leave out",
    "glue-dissolves-foam": "another glue",
    "hot-wire": "another tool or foam",
    "unused-ply": "a ply to take out",
    "unused-shape": "a shape to move or take out",
    "joint-at-recess": "a recess to move, other sheets",
    "joint-under-blend": "other sheets",
    "light-skin": "another ply; its weight is its name",
    "little-contact": "another place for the joint, to be chosen",
    "mat-with-epoxy": "another cloth",
    "mating-fit": "a place to measure again",
    "mating-gap": "a smaller gap or a finer body",
    "mating-hollow": "nothing to do",
    "mould-plug": "plies over the plug, which are not the part's",
    "no-cloth": "a split or darts, to be chosen",
    "no-contact": "another place for the joint, to be chosen",
    "no-hollow": "another wall, bridge or sheet",
    "no-ply": "a zone to be named",
    "no-renderer": "a package to install",
    "no-step": "another kind of file",
    "lay-up-passes": "work at the bench",
    "peel-ply-inside": "another order of plies",
    "pins-alike": "names to go by",
    "plate-size": "a plate to measure",
    "ply-edge-on-blend": "how far to carry a ply at the bench; no word of the recipe",
    "point-left-out": "a point to measure again",
    "pot-life-unknown": "values off the resin's sheet",
    "print-through": "another ply",
    "ratio-apart": "a sheet to be read again",
    "separate-pieces": "a shape to draw otherwise",
    "skin-depth": "a station or a blend to add",
    "skin-inside-edge": "a fillet of filler at the bench; no word of the recipe",
    "skin-own-shape": "a shape to draw otherwise",
    "stale-search": "a build with --search",
    "router-corner": "a file at the bench, or another bit",
    "router-narrow": "a drill at the bench, or another bit",
    "template-in-blend": "another place, to be chosen",
    "wire-beyond-slots": "a slot to measure",
    "wire-by-itself": "a sheet nested anew, or a larger machine; tried in tests/unit/test_wire_lots.py",
    "wire-bulge": "sanding at the bench",
    "wire-cuts-in": "filler at the bench, or what its proof would find of a larger allowance",
    "wire-end": "a rasp at the bench",
    "wire-hollow": "sanding at the bench",
    "wire-kerf-guessed": "a slot to measure",
    "wire-opening": "a saw at the bench",
    "wire-out-of-step": "how close numbers can be called",
    "wire-recess": "a pattern at the bench",
}
"""Codes whose remedy holds no number that a person would put into the recipe, and what it asks for."""


def codes_of(node: ast.expr) -> set[str]:
    """Return the codes that an expression may be."""
    if isinstance(node, ast.Constant):
        return {str(node.value)}
    if isinstance(node, ast.IfExp):
        return codes_of(node.body) | codes_of(node.orelse)
    many = {
        "f'{word}-dissolves-foam'": {f"{word}-dissolves-foam" for word in ("glue", "filler")},
        "f'wire-{kind}'": {f"wire-{kind}" for kind in NOT_REACHED},
    }
    assert ast.unparse(node) in many, ast.unparse(node)
    return many[ast.unparse(node)]


def test_no_code_is_forgotten() -> None:
    """Every code that the program makes is applied here or elsewhere, or has no number."""
    made: set[str] = set()
    for path in sorted((ROOT / "plugs").rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        for call in ast.walk(ast.parse(text)) if "Finding(" in text else ():
            if isinstance(call, ast.Call) and getattr(call.func, "id", "") == "Finding":
                (code,) = [word.value for word in call.keywords if word.arg == "code"]
                made |= set() if ast.unparse(code) == "found.code" else codes_of(code)
    known = [*{case.code for case in CASES}, *ELSEWHERE, *NONE]
    assert len(known) == len(set(known))
    assert made == set(known)
    for place in ELSEWHERE.values():
        file, _, name = place.partition("::")
        assert f"def {name}(" in (Path(__file__).parent / file).read_text(encoding="utf-8")


def found_with(folder: Path, case: Case, value: float | None, stage: str = "") -> list[Finding]:
    """Return the findings of a case's code when its recipe says a value, of a stage if that is known."""
    path = folder / "plug.py"
    path.write_text(f"{HEAD}{value!r}):\n    return {case.plug}\n", encoding="utf-8")
    work = opened(path, {})
    return [f for f in (work.found([stage]) if stage else work.findings) if f.code == case.code]


INCHES: Final = r"(inch\([\d.]+\)|[\d.]+ mm \([\d.]+ in\)|[\d./][\d ./]* in)"
"""A length in a remedy: as a recipe gives it, a size in mm that no fraction has, a fraction or a decimal."""


def in_mm(told: str) -> float:
    """Return a length of a remedy in mm, or a bare number (an inch is 25.4 mm, by definition)."""
    decimal = re.fullmatch(r"inch\(([\d.]+)\)|(\d*\.\d+) in", told)
    if decimal:
        return 25.4 * float(decimal[1] or decimal[2])
    return mm_of(told) if "in" in told else float(told)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.code)
def test_the_number_told_clears_the_finding(tmp_path: Path, case: Case) -> None:
    """In mm and in inches; its place need not be named: no finding of that code is left."""
    (finding, *_) = found_with(tmp_path, case, case.first)
    bare = re.escape(r"([\d.]+)") + "( mm)?(?! degrees| C)"
    imperial = re.sub(bare, lambda _: INCHES, case.told)
    ways = [(case.told, finding.remedy), (imperial, in_unit(finding, "in").remedy)]
    for pattern, remedy in dict.fromkeys(ways):
        number = re.search(pattern, remedy)
        assert number is not None, remedy
        left = found_with(tmp_path, case, case.then(case.first, *map(in_mm, number.groups())), finding.stage)
        assert left == [], remedy


def test_one_number_clears_all_places_of_a_word_of_the_whole_plug(tmp_path: Path) -> None:
    """Three templates of different height have room for too few screws: one finding, and the least margin."""
    plug = (
        "wedge(90.0, 60.0, 300.0, stack=STOOD, templates=Templates(stations=(40.0, 150.0, 260.0), "
        "hole_margin=value))"
    )
    case = Case(code="few-screws", first=60.0, plug=plug, told=r"templates\.hole_margin of at most ([\d.]+)")
    (finding,) = found_with(tmp_path, case, case.first)
    assert finding.where.count(";") == 2
    number = re.search(case.told, finding.remedy)
    assert number is not None
    assert found_with(tmp_path, case, float(number[1]), finding.stage) == []
    assert found_with(tmp_path, case, float(number[1]) + 1.0, finding.stage) != []
