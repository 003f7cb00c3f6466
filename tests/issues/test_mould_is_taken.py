"""A mould is taken in parts: each has its pull, what holds it is told, and what is told lets it go."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import fields, replace
from functools import cache

import pytest

from plugs import (
    Corner,
    Finding,
    Mould,
    MouldPart,
    Plug,
    PlugError,
    Recess,
    Skin,
    Station,
    Work,
    work_out,
)

POCKET = Recess(
    panel="side",
    x=150.0,
    width=60.0,
    height=50.0,
    depth=15.0,
    draft_deg=3.0,
    corner_radius=8.0,
    name="pocket",
)  # fmt: skip


def plug(mould: Mould | None, recesses: Sequence[Recess] = (), foot: float = 150.0, **words: object) -> Plug:
    """Return a box of three stations that narrows upward; with a narrower foot its sides lean out."""

    def at(x: float, share: float = 1.0) -> Station:
        corners = {
            "low": Corner(foot * share, 0.0),
            "edge": Corner(140.0 * share, 100.0, 8.0),
            "high": Corner(90.0 * share, 150.0, 12.0),
        }
        return Station(x=x, corners=corners)

    return Plug(
        name="Box", panels=("floor", "side", "slope", "deck"),
        stations=[at(0.0), at(300.0), at(500.0, 0.8)],
        skin=Skin(thickness=2.0, no_laminate=("floor", "front", "rear")),
        mould=mould, recesses=recesses, **words,
    )  # fmt: skip


@cache
def leaning() -> Work:
    """Return a box whose sides lean out, under a mould in one part."""
    return work_out(plug(Mould(), foot=120.0))


def locked(work: Work) -> list[Finding]:
    """Return what locks a mould."""
    return [one for one in work.found(("mould",)) if one.code == "mould-locks"]


def test_a_good_mould_is_told_nothing() -> None:
    """Sides that lean in by 6 degrees let it go; without a mould nothing is looked at."""
    assert not work_out(plug(Mould())).found(("mould",))
    work = work_out(plug(None))
    assert work.taken is None
    assert "finish" not in work.stages


def test_a_side_that_leans_out_is_told_with_place_and_angle() -> None:
    """By atan(20 / 100), which is 11.31 degrees; where: the side, the stations, and x, y, z."""
    (found,) = locked(leaning())  # both sides in one
    assert "left side in the mould" in found.where
    assert "right side in the mould" in found.where
    assert "between stations" in found.where
    assert "11.3 degrees" in found.message
    assert "pulled up" in found.message


def test_the_parting_that_is_told_lets_the_mould_go() -> None:
    """At the line where it is widest: upper and lower half, each straight off."""
    (found,) = locked(leaning())
    told = re.search(r'parting="(\w+)"', found.remedy)
    assert told is not None
    assert not locked(work_out(plug(Mould(parting=told[1]), foot=120.0)))


def test_each_way_that_is_told_for_a_pocket_lets_it_go() -> None:
    """More draft, a loose piece, another pull for the half: each by its own number."""
    (found,) = locked(work_out(plug(Mould(parting="centreline"), [POCKET])))
    assert "pocket wall in the right half" in found.where
    asked = re.search(r"give it ([\d.]+) degrees of draft \(recesses\[0\]\.draft_deg\)", found.remedy)
    piece = re.search(r'MouldPart\(name="(.+?)", pull=\((.+?)\), panels=\("(\w+)",\)\)', found.remedy)
    pull = re.search(r'pull the "right half" along \((.+?)\)', found.remedy)
    assert asked and piece and pull

    def way(text: str) -> tuple[float, float, float]:
        x, y, z = map(float, text.split(","))
        return x, y, z

    drawn = replace(POCKET, draft_deg=float(asked[1]))
    whole = Mould(parting="centreline")
    loose = MouldPart(name=piece[1], pull=way(piece[2]), panels=(piece[3],))
    turned = MouldPart(name="right half", pull=way(pull[1]), side="right")
    for mould, recess in (
        (whole, drawn), (replace(whole, parts=(loose,)), POCKET), (replace(whole, parts=(turned,)), POCKET),
    ):  # fmt: skip
        work = work_out(plug(mould, [recess]))
        assert not locked(work)
        assert not [f for f in work.found(("mould",)) if "pocket" in f.where and recess is drawn]


def test_a_face_that_looks_away_may_be_left_open() -> None:
    """A floor under a mould that is pulled up."""
    bare = Skin(thickness=2.0, no_laminate=("front", "rear"))
    made = plug(Mould())
    (found,) = locked(work_out(Plug(**{**fields_of(made), "skin": bare})))
    told = re.search(r'no_mould=\("(\w+)",\)', found.remedy)
    assert told is not None
    assert not locked(work_out(Plug(**{**fields_of(made), "skin": bare, "mould": Mould(no_mould=told[1])})))


def fields_of(made: Plug) -> dict[str, object]:
    """Return the words of a plug."""
    return {one.name: getattr(made, one.name) for one in fields(made)}


@pytest.mark.parametrize(
    ("mould", "param", "told"),
    [
        (True, "mould", "Mould()"),
        (Mould(parting="edgy"), "mould.parting", "'edge'"),
        (Mould(parting=900.0), "mould.parting", "centreline"),
        (Mould(no_mould="roof"), "mould.no_mould", "deck"),
        (Mould(parts=[MouldPart(name="m", pull="sideways")]), "mould.parts[0].pull", "left"),
        (Mould(parts=[MouldPart(name="m", pull=(0.0, 0.0, 0.0))]), "mould.parts[0].pull", "1.0"),
        (Mould(parts=[MouldPart(name="m", side="left")]), "mould.parts[0].side", "''"),
        (Mould(parts=[MouldPart(name="m"), MouldPart(name="n")]), "mould.parts[1].side", "1 part"),
        (Mould(parts=[MouldPart(name="mould", panels="deck")]), "mould.parts", "mould 2"),
    ],
)
def test_words_that_a_mould_cannot_have(mould: object, param: str, told: str) -> None:
    """Each is refused by its own name, with what would do."""
    with pytest.raises(PlugError) as caught:
        _ = work_out(plug(mould)).taken  # type: ignore[arg-type]
    assert caught.value.param == param
    assert told in caught.value.remedy


def test_halves_are_called_as_the_sides_are() -> None:
    """In a boat port and starboard."""
    work = work_out(plug(Mould(parting="centreline"), sides="port and starboard"))
    assert [part.name for part in work.plug.mould.parts] == ["port half", "starboard half"]  # type: ignore[union-attr]
