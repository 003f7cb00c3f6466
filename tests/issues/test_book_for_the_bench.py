"""The book cautions whoever works by it, has the steps in their order, and says how to build it again."""

from __future__ import annotations

import html
import json
import os
import re
import shlex
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

from plugs import cli
from plugs.book.book import book_html
from tests.books import ROOT, Book, book_of

RECIPE = '''"""A block with words to set."""
from plugs import Corner, End, Plug, Station


def long_block(length=120.0, note="plain", rounded=False, widths=(40.0, 50.0), label=None):
    def station(x, half):
        return Station(x=x, corners={"foot": Corner(half, 0.0), "edge": Corner(half, 30.0, 4.0 * rounded)})

    stations = (station(0.0, widths[0]), station(length, widths[1]))
    return Plug(name=f"Block {note}", stations=stations, front=End())
'''


BOX = '''"""A box laid up in polyester, its foam dug out."""
from plugs import Corner, Plug, Ply, Schedule, Skin, Station


def box():
    corners = {"foot": Corner(100.0, 0.0), "edge": Corner(90.0, 80.0)}
    return Plug(
        name="Box", panels=("floor", "side", "deck"),
        stations=[Station(x=x, corners=corners) for x in (0.0, 300.0)],
        skin=Skin(filler=0.5, no_laminate=("floor",)), foam="xps 35", foam_stays=False,
        adhesive="polyurethane glue",
        schedule=Schedule(plies=(Ply(cloth="mat 300"), Ply(cloth="peel ply 85")), barrier="foil tape"),
    )
'''


@cache
def book(name: str) -> Book:
    """Return the book of one of the recipes, built once."""
    return book_of(name)


def section(page: str, name: str) -> str:
    """Return a section of a book as plain text."""
    part = page.partition(f'<section id="{name}">')[2].partition("<section id=")[0]
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", part)).split())


def test_cautions_of_all_that_is_done(lined: Book) -> None:
    """Blades, dust, foam, glue, resin, and whom to ask: without a schedule too."""
    for page, is_named in ((lined.page, True), (book("seat_hump").page, False)):
        told = section(page, "cautions")
        for words in (
            "Knives, saws",
            "Dust",
            "olystyrene",
            "Polyurethane glue",
            "licensed practice",
            "Glass",
        ):
            assert words in told, words
        assert ("Foam whose kind the recipe does not name" in told) is not is_named
        assert ("Resin, hardener and filler that the recipe does not name" in told) is not is_named
        assert ("Styrene resins" in told) is is_named


@pytest.fixture(scope="module")
def lined(tmp_path_factory: pytest.TempPathFactory) -> Book:
    """Return the book of a small box that is laid up, and its foam dug out."""
    path = tmp_path_factory.mktemp("lined") / "box.py"
    path.write_text(BOX, encoding="utf-8")
    return book_of(path)


def test_steps_of_the_skin_come_in_their_order(lined: Book) -> None:
    """Cloth is cut before resin is mixed; once hard it is trimmed and filled, and the foam dug out."""
    schedule = lined.summary["schedule"]
    schedule = schedule | {"places": schedule["places"] | {"joint flange": schedule["places"]["side"]}}
    told = section(book_html(lined.summary | {"schedule": schedule}, lined.drawings, lined.scene), "skin")
    places = [
        told.index(words)
        for words in (
            "Pieces of mat 300", "rounded by hand to", "Foam brushed", "foil tape over the foam",
            "Ply 1 (mat 300",
            "as hard as", "Peel ply torn off", "Free edges trimmed", "joint flange trimmed", "Filler spread",
            "Guide coat", "Primed", "Foam dug out",
        )
    ]  # fmt: skip
    assert places == sorted(places)
    for mix in lined.summary["resin"]["mixes"]:
        batches = len(re.findall(f"Ply {mix['ply']}\\b", told)) if mix["ply"] else told.count(mix["what"])
        assert batches == mix["batches"]
    for roll in lined.summary["cloth"]["rolls"]:
        assert all(piece["name"] in told for piece in roll["pieces"])


def test_foam_that_stays_is_not_dug_out(lined: Book) -> None:
    """Nor is filler or trim of nothing told."""
    schedule = lined.summary["schedule"] | {"foam_stays": True, "filler_mm": 0.0}
    changed = lined.summary | {"schedule": schedule, "cloth": lined.summary["cloth"] | {"trim_mm": 0.0}}
    told = section(book_html(changed, lined.drawings, lined.scene), "skin")
    assert not re.search("dug out|Filler spread|Free edges trimmed", told)


def build_commands(page: str) -> list[str]:
    """Return the commands by which a book is built again, as a person reads them."""
    part = page.partition('<section id="anew">')[2]
    return [html.unescape(text) for text in re.findall(r"<pre><code>(.*?)</code></pre>", part)]


@pytest.mark.skipif(os.name != "posix", reason="the command is printed for a shell of the usual kind")
def test_command_of_a_book_builds_it_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As printed, by a shell, where the recipe is; spaces, quotes and signs of the shell in its words."""
    home = tmp_path / "my plugs"
    home.mkdir()
    path = home / "long block.py"
    path.write_text(RECIPE, encoding="utf-8")
    note = 'it\'s $HOME; "2 in" & more'
    words = [f"note={note}", "rounded=yes", "widths=45.25, 50", "length=123.456789"]
    argv = [word for pair in words for word in ("--set", pair)]
    first, again = tmp_path / "first", tmp_path / "again"
    monkeypatch.chdir(tmp_path)
    assert cli.main(["build", str(path), "--only", "html", "--out", str(first), *argv]) == 0
    page = (first / "book.html").read_text(encoding="utf-8")
    commands = build_commands(page)
    assert len(commands) == 2
    told = json.loads((first / "summary.json").read_text(encoding="utf-8"))
    assert told["recipe"]["changed"] == ["length", "note", "rounded", "widths"]
    python = tmp_path / "bin" / "python"
    python.parent.mkdir()
    more = shlex.join(["--only", "csv", "--out", str(again)])  # so that it is quick, and leaves nothing about
    python.write_text(f'#!/bin/sh\nexec {shlex.quote(sys.executable)} "$@" {more}\n', encoding="utf-8")
    python.chmod(0o755)
    places = {"PATH": f"{python.parent}:{os.environ['PATH']}", "PYTHONPATH": str(ROOT)}
    for command in commands:
        subprocess.run(["sh", "-c", command], cwd=home, env=os.environ | places, check=True)
        anew = json.loads((again / "summary.json").read_text(encoding="utf-8"))
        assert anew["parameters"] == told["parameters"]
        assert anew["recipe"]["sha256"] == told["recipe"]["sha256"]


def test_command_of_a_demo_names_its_recipe() -> None:
    """In the folder of the recipes."""
    (command, *_) = build_commands(book("seat_hump").page)
    assert (ROOT / "recipes" / shlex.split(command)[4]).is_file()


def test_every_void_joint_and_pin_has_its_step() -> None:
    """Sawn out, glued, drilled, before layers are glued; those of a plug with joints by their summary."""
    made = book("seat_hump")
    told = section(made.page, "stacking")
    hollow = [void["layer"] for void in made.summary["hollows"] if void["area_m2"]]
    assert hollow
    glued = told.index("L01 to L02 glued")
    for words in (*(f"{layer}: what is marked HOLLOW sawn out" for layer in hollow), "Pin holes of"):
        assert 0 <= told.index(words) < glued
    joints = [{"name": "L03 joint 1", "layer": "L03", "between": ["L03 front", "L03 rear"], "glue_g": 4.0}]
    page = book_html(made.summary | {"joints": joints}, made.drawings, made.scene)
    assert "L03 joint 1: L03 front and L03 rear glued" in section(page, "stacking")
