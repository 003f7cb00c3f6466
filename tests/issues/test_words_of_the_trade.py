"""One word for one thing, and it is the trade's; an old word is refused, and the new one named."""

from __future__ import annotations

import json
import re
from functools import cache
from pathlib import Path

import pytest

import plugs
from plugs import Corner, End, Plug, Station, Templates
from plugs.drawings import template_drawings
from plugs.ground.errors import PlugError
from plugs.words.renamed import NAMES, VALUES, WORDS, now_called
from plugs.words.ways import SIDES, called, told_by
from plugs.work import Work, load, work_out

BOAT = re.compile(r"\b(port|starboard|aft|fore|astern|ahead|buttock)\b", re.IGNORECASE)
CAR = re.compile(
    r"\b(left|rear|behind) (half|end|face|side)\b|to the rear|seen from (behind|the left)", re.IGNORECASE
)


@cache
def tail(sides: str) -> Work:
    """Return the work on a small tail with gauges, whose sides are called so."""

    def at(x: float, share: float) -> Station:
        return Station(
            x=x, corners={"chine": Corner(80.0 * share, 0.0), "edge": Corner(60.0 * share, 90.0 * share)}
        )

    return work_out(
        Plug(
            name="Tail", panels=("floor", "side", "deck"), stations=(at(0.0, 1.0), at(240.0, 0.8)),
            rear=End(radius=8.0), templates=Templates(stations=(120.0,), lengthwise=0.0), sides=sides,
        )
    )  # fmt: skip


def told(work: Work) -> str:
    """Return all words that drawings, fit list, findings and summary tell of a work."""
    with told_by(work.plug.sides):
        drawings = [*template_drawings(work).values()]
    texts = [label.text for drawing in drawings for label in drawing.labels]
    places = [f"{row.place} {row.side}" for row in work.fit_list]
    findings = [f"{one.where} {one.message} {one.remedy}" for one in work.findings]
    return "\n".join(
        [*texts, *places, *findings, json.dumps(work.summary), *work.body.loft.table.panel_names]
    )


@pytest.mark.parametrize(("sides", "others"), [(SIDES[0], BOAT), (SIDES[1], CAR)])
def test_sides_are_called_as_the_recipe_says(sides: str, others: re.Pattern[str]) -> None:
    """No drawing, list, finding or figure uses the words of the other kind of plug."""
    words = told(tail(sides))
    assert (called().left, called().from_rear) == (
        "left",
        "from behind",
    )  # nobody has left another's words behind
    with told_by(sides):
        expected = [
            called().left,
            called().right,
            called().from_rear,
            f"{called().left} half",
            f"{called().rear} end",
        ]
    assert [one for one in expected if one.lower() not in words.lower()] == []
    assert {match[0] for match in others.finditer(words)} == set()


def test_stages_of_other_sides_are_not_used_again() -> None:
    """Only the sides differ: the names of the mirrored panels follow them."""
    names = [tail(sides).body.loft.table.panel_names for sides in SIDES]
    assert ("left side" in names[0], "port side" in names[1]) == (True, True)


@pytest.mark.parametrize(("kind", "old"), list(WORDS))
def test_old_words_name_the_new(kind: str, old: str, tmp_path: Path) -> None:
    """A recipe with a word from before is told with its line and with the word that it is now."""
    recipe = tmp_path / "part.py"
    recipe.write_text(f"import plugs\n\ndef part(length=400.0):\n    return plugs.{kind}({old}=1)\n")
    with pytest.raises(PlugError, match=f"called {WORDS[kind, old]} now") as caught:
        load(recipe)
    word, _, value = WORDS[kind, old].partition("=")
    assert (caught.value.where, f"write {word}={value}" in caught.value.remedy) == (f"{recipe}:4", True)
    assert hasattr(getattr(plugs, kind), word) or word in getattr(plugs, kind).__dataclass_fields__


@pytest.mark.parametrize("old", list(NAMES))
def test_old_names_name_the_new(old: str, tmp_path: Path) -> None:
    """Likewise what a recipe takes from the program, whichever way it does."""
    recipe = tmp_path / "part.py"
    for line in (f"from plugs import {old}\n", f"import plugs\n\ndef part():\n    plugs.{old}()\n"):
        recipe.write_text(line)
        with pytest.raises(PlugError, match=f"called {NAMES[old]} now") as caught:
            load(recipe)
        assert (caught.value.value, hasattr(plugs, NAMES[old])) == (old, True)


def test_old_values_name_the_new() -> None:
    """Ends and sides of a panel likewise; what was never a word is told as before."""
    assert VALUES["panel", "aft"] == now_called("recesses[0].panel", "aft") == "rear"
    assert (
        now_called("zones['a'].panels", "side port")
        == now_called("recesses[0].panel", "port side")
        == "left side"
    )
    assert now_called("recesses[0].panel", "stern") == now_called("name", "aft") == ""
    with pytest.raises(PlugError, match="this is called front now") as caught:
        work_out(
            Plug(name="Tail", stations=tail(SIDES[0]).plug.stations, templates=Templates(stands="forward"))
        )
    assert caught.value.remedy == 'write "front"'
