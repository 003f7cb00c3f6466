"""The README and the pages of the rooms say what the program does: words, commands, summary, plates."""

from __future__ import annotations

import inspect
import json
import re
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import pytest

import plugs as house
from plugs import PLATES
from plugs.files.kinds import KINDS
from plugs.terminal.reference import entries, page
from tests.cli.conftest import Plugs

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
RECORDS = [name for name in house.__all__ if is_dataclass(getattr(house, name))]


def page_of(room: str) -> str:
    """Return what is longer about a room."""
    return (ROOT / "plugs" / room / "README.md").read_text(encoding="utf-8")


def table_after(heading: str, text: str = README) -> list[list[str]]:
    """Return the cells of the first table after some words, without its two head rows."""
    lines = text[text.index(heading) :].splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("|"))
    rows = []
    for line in lines[start + 2 :]:
        if not line.startswith("|"):
            break
        rows.append([cell.strip() for cell in line.strip("|").split("|")])
    return rows


_ALIKE = (
    "parameters", "changes.figures", "skin.over_mm", "schedule.places", "schedule.labels", "mould.resin",
    "mould.cost", "mould.plies[]", "mould.shopping[]", "mould.flange_sheets[]",
)  # fmt: skip
"""Parts of the summary that a star stands for: names of the recipe's own, or what is told elsewhere."""


def paths(value: Any, before: str = "") -> set[str]:
    """Return the dotted paths of all figures in a summary, as the README writes them."""
    if before in _ALIKE:
        return {f"{before}.*"}
    if isinstance(value, dict):
        return set().union(*(paths(v, f"{before}.{k}".lstrip(".")) for k, v in value.items()))
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return set().union(*(paths(item, f"{before}[]") for item in value))
    return {before}


def test_one_paragraph_then_two_commands() -> None:
    """The job in one paragraph; then a command to build the main demo and one to pass the tests."""
    head = README.split("\n## ")
    assert len([part for part in head[0].split("\n\n") if part.strip()]) == 3  # title, picture, paragraph
    assert len(README.splitlines()) < 200
    assert re.findall(r"^    (\S.*)$", head[1], flags=re.MULTILINE) == [
        "python -m pip install -e . && python -m plugs build recipes/sidecar_tail.py",
        'python -m pip install -e ".[test]" && python -m pytest',
    ]
    assert (ROOT / "recipes" / "sidecar_tail.py").is_file()


def test_every_field_of_the_summary_is_documented(shop: Path, plugs: Plugs) -> None:
    """The table names every field that a build writes, and no other."""
    bare = (shop / "part.py").read_text(encoding="utf-8")
    skinned = (
        bare.replace("import Boss", "import Boss, Skin, Templates")
        .replace(
            "rear=End",
            "skin=Skin(thickness=2.0), templates=Templates(stations=(150.0,), lengthwise=(0.0,)), rear=End",
        )
        .replace("Stack(", 'Stack(axis="x", between_templates=True, ')
    )
    mated = bare.replace("import Boss", "import Boss, Mating, fair").replace(
        "rear=End",
        'mating=(Mating(view="plan", cuts="front", contour=fair(((9, -200), (10, 0), (9, 200)))),), rear=End',
    )
    mated = mated.replace("depth=depth", 'depth=depth, method="saw", holds=(50.0, 40.0)').replace(
        "rear=End", 'bosses=[Boss(panel="deck", x=80.0, width=40.0, height=30.0, rise=5.0)], rear=End'
    )
    cut = bare.replace(
        "import Boss", "import Bow, Hollow, Router, Stock, Templates, WireAxis, WireCutter, WireWork, Boss"
    ).replace(
        "rear=End",
        'foam="eps 22", wire=WireWork(how="upright", bow=Bow(), machine=WireCutter(room_up=(0.0, 480.0), '
        'near=(WireAxis(letter="X"), WireAxis(letter="Y")), '
        'far=(WireAxis(letter="U"), WireAxis(letter="V")))), '
        "router=Router(travel=(3100.0, 1600.0)), "
        "stock=[Stock(width=320.0, height=300.0, thickness=sheet), Stock(width=1200.0, height=900.0, "
        "thickness=sheet, count=1)], density=30.0, hollow=Hollow(wall=15.0, bridge=20.0), "
        "templates=Templates(stations=(150.0,), lengthwise=(0.0,)), rear=End",
    )
    roomy = bare.replace("import Boss", "import Along, Ply, Schedule, Stock, Boss").replace(
        "rear=End",
        'along=Along(view="side", points=((0.0, 0.0), (5000.0, 0.0))), '
        "stock=[Stock(width=2000.0, height=1000.0, thickness=sheet)], "
        'schedule=Schedule(plies=(Ply(cloth="mat 450"),), resin="vinylester"), rear=End',
    )
    clothed = (
        bare.replace("import Boss", "import HardPoint, Mould, Ply, Schedule, Skin, Boss")
        .replace(
            "rear=End",
            'schedule=Schedule(plies=[Ply(cloth=c) for c in ("cloth 280", "mat 450", "peel ply 85")], '
            'resin="epoxy"), foam_stays=False, skin=Skin(no_laminate=("floor",)), '
            'hard_points=[HardPoint(name="latch", panel="side", x=60.0, width=30.0, height=30.0, '
            'material="plywood 3", holes=((0.0, 0.0, 5.0),), plies=("cloth 280",))], '
            'mould=Mould(parting="centreline", schedule=Schedule(plies=[Ply(cloth="mat 450")])), rear=End',
        )
        .replace("crown=5.0", "crown=0.0")
    )
    edged = (
        bare.replace("import Boss", "import Edge, Gutter, Opening, Ply, Rim, Schedule, Boss")
        .replace(
            "rear=End",
            'schedule=Schedule(plies=(Ply(cloth="mat 450"),)), edges=('
            'Edge(name="lip", on="floor", lines=("left chine",), width=20.0, from_x=60.0, to_x=200.0), '
            'Edge(name="channel", kind="drip gutter", on="deck", lines=("left edge",), width=60.0, '
            "gutter=Gutter(inset=15.0, width=20.0, depth=8.0))), openings=["
            'Opening(panel="side", side="both", x=100.0, width=60.0, height=40.0, corner_radius=8.0), '
            'Opening(panel="deck", x=300.0, across=40.0, width=60.0, height=40.0, corner_radius=10.0, '
            'rim=Rim(kind="drip channel", width=12.0, depth=5.0)), '
            'Opening(panel="deck", x=70.0, width=60.0, height=50.0, corner_radius=10.0, '
            'rim=Rim(kind="return flange", width=12.0))], rear=End',
        )
        .replace("radius=20.0, crown=5.0", "radius=0.0, crown=0.0")
        .replace("depth=depth", "depth=depth, holds=(80.0, 40.0)")
    )
    found, told = set(), set()
    for text in (skinned, mated, cut, roomy, clothed, edged):
        (shop / "part.py").write_text(text, encoding="utf-8")
        kinds = ("--only", "csv", "--only", "pdf") if text is roomy else ("--only", "csv")
        higher = ("--set", "height=140") if text is clothed else ()  # than what was marked
        assert plugs("build", "part.py", *kinds, *higher).status == 0
        if text is roomy:  # the next tells what changed
            assert plugs("cut", "part.py").status == 0
        found |= paths(json.loads((shop / "exports" / "part" / "summary.json").read_bytes()))
    for cell, *_ in table_after("# summary.json", page_of("summary")):
        names = re.findall(r"`([^`]+)`", cell)
        told |= {
            names[0].replace("_by_sections", name.removeprefix("...")) if name.startswith("...") else name
            for name in names
        }
    assert (sorted(told - found), sorted(found - told)) == ([], [])


def test_the_table_of_plates_is_the_one_in_use() -> None:
    """Sizes, labels and sources as in the program; a source may be shortened at its end."""
    rows = table_after("# Number plates", page_of("recesses"))
    assert [row[0].strip("`") for row in rows] == list(PLATES)
    for name, size, radius, label, source in rows:
        plate = PLATES[name.strip("`")]
        assert size == f"{plate.width:g} x {plate.height:g}"
        assert float(radius) == plate.corner_radius
        assert label == plate.label
        assert plate.source.startswith(source)


@pytest.mark.parametrize("command", ["build", "check", "watch", "cut", "changed", "compare", "new", "words"])
def test_every_option_is_documented(plugs: Plugs, command: str) -> None:
    """What help names stands on the page of the commands, and each command in the README too."""
    told = page_of("terminal")
    assert f"python -m plugs {command} " in README
    assert f"python -m plugs {command} " in told
    for option in re.findall(r"--[a-z]+", plugs(command, "--help").out):
        assert option == "--help" or f"`{option}" in told
    assert all(f"`{kind}`" in told for kind in KINDS)


def test_every_exit_status_is_documented() -> None:
    """0, 1, 2, 3 and the one of Ctrl-C."""
    assert [row[0] for row in table_after("| exit status | meaning", page_of("terminal"))] == [
        "0",
        "1",
        "2",
        "3",
        "130",
    ]


def test_continuous_integration_runs_the_command_of_the_readme() -> None:
    """CI takes the line out of the README, so the line cannot rot."""
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert "README.md" in script


def test_every_way_to_another_page_leads_there() -> None:
    """Files, pictures and headings: of the README, and of the pages of the rooms."""
    for name in (ROOT / "README.md", *(ROOT / "plugs").glob("*/*.md")):
        for target, anchor in re.findall(
            r"\]\(([^)#\s]*)(?:#([^)\s]*))?\)", name.read_text(encoding="utf-8")
        ):
            to = (name.parent / target) if target else name
            assert to.exists(), (name, target)
            heads = (
                {h.lower() for h in re.findall(r"^#+ (\S+)$", to.read_text(encoding="utf-8"), re.MULTILINE)}
                if anchor
                else {""}
            )
            assert anchor in heads, (name, target, anchor)


def test_every_recipe_is_named() -> None:
    """Each that is there, and none that is not."""
    there = {path.name for path in (ROOT / "recipes").glob("*.py")}
    assert set(re.findall(r"`(\w+\.py)`", README)) == there


def test_every_record_has_a_row_and_a_way_to_its_words() -> None:
    """Each once, and none that is not there any more."""
    cells = " ".join(row[0] for row in table_after("| word | what it holds"))
    assert sorted(re.findall(r"\[`(\w+)`\]\(plugs/recipe/WORDS.md#", cells)) == sorted(RECORDS)


def test_the_page_of_words_is_the_one_that_the_program_writes(plugs: Plugs) -> None:
    """Made from the docstrings: `python -m plugs words > plugs/recipe/WORDS.md` makes it anew."""
    kept = (ROOT / "plugs" / "recipe" / "WORDS.md").read_text(encoding="utf-8")
    assert plugs("words").out.rstrip("\n") == kept.rstrip("\n") == page().rstrip("\n")
    assert re.findall(r"^## (\w+)$", kept, re.MULTILINE) == sorted(house.__all__, key=str.lower)
    assert plugs("words", "Recess").out.rstrip("\n") in kept
    assert "Recess" in plugs("words", "Reces").err


@pytest.mark.parametrize("name", RECORDS)
def test_every_word_of_a_recipe_is_told(name: str) -> None:
    """Each field of each record once, with what it holds, in words."""
    kind = getattr(house, name)
    told = entries(inspect.getdoc(kind) or "")
    words = [word for entry in told for word in entry.names if entry.text]
    assert sorted(words) == sorted({*words})
    assert {one.name for one in fields(kind) if one.init} <= set(words)
