"""A faired line that humps where it was drawn flat is told, with two stations that cure it."""

from __future__ import annotations

import re

import numpy as np
import pytest

from plugs.lines.checks import checked_loft
from plugs.lines.humps import LARGEST_HUMP, hump_findings
from plugs.lines.section import Corner, LinesPlan, Station
from plugs.lines.stations import Loft

XS = (0.0, 250.0, 600.0, 760.0, 900.0)


def plan(deck: tuple[float, ...], xs: tuple[float, ...] = XS, bays: object = "faired") -> LinesPlan:
    """Return a box of 200 mm with a deck of these heights."""
    stations = [
        Station(x=x, corners={"chine": Corner(100.0, 0.0), "deck edge": Corner(100.0, z)})
        for x, z in zip(xs, deck, strict=True)
    ]
    return LinesPlan(stations=stations, bays=bays)  # type: ignore[arg-type]


def found(lines: LinesPlan) -> tuple[Loft, list]:
    """Return a loft and what is told of it."""
    loft = checked_loft(lines)
    return loft, hump_findings(loft, {"chine", "deck edge"})


@pytest.mark.parametrize(
    "deck",
    [
        (180.0, 180.0, 180.0, 187.0, 198.0),
        (180.0, 180.0, 180.0, 173.0, 162.0),
        (90.0, 91.0, 91.0, 120.0, 180.0),
    ],
)
def test_hump_is_told_with_its_size_and_place_and_the_remedy_clears_it(deck: tuple[float, ...]) -> None:
    """Size and place are those of the sections themselves; the stations named leave no hump."""
    loft, (one,) = found(plan(deck))
    told = float(re.search(r"by ([0-9.]+) mm in z", one.message)[1])  # type: ignore[index]
    x = float(re.search(r"x = ([0-9.]+) mm", one.where)[1])  # type: ignore[index]
    bay = XS.index(float(re.search(r"at x = ([\d.]+) and", one.message)[1]))  # type: ignore[index]
    t = np.linspace(XS[bay], XS[bay + 1], 2001)
    z = loft.sections(t).corners[:, loft.table.corner_names.index("deck edge"), 1]
    pair = deck[bay : bay + 2]
    assert told > LARGEST_HUMP
    assert (one.code, one.severity) == ("hump-between-stations", "mind" if told > 2.0 else "note")
    assert told == pytest.approx(max(z.max() - max(pair), min(pair) - z.min()), abs=0.06)
    k = int(np.argmax(np.abs(z - np.clip(z, min(pair), max(pair)))))
    assert x == pytest.approx(t[k], abs=0.03 * (XS[bay + 1] - XS[bay]))
    more = re.findall(r"x = ([0-9.]+) \(y = ([0-9.]+), z = ([0-9.]+)\)", one.remedy)
    assert len(more) == 2
    rows = sorted([*zip(XS, deck, strict=True), *((float(a), float(c)) for a, _, c in more)])
    heights, places = tuple(h for _, h in rows), tuple(p for p, _ in rows)
    assert found(plan(heights, places))[1] == []
    assert found(plan(deck, bays={"chine": "faired"}))[1] == []


@pytest.mark.parametrize(
    "deck",
    [
        (100.0, 150.0, 180.0, 150.0, 100.0),
        (100.0, 140.0, 180.0, 180.0, 150.0),
        (180.0, 180.0, 180.0, 180.0, 180.0),
    ],
)
def test_lines_that_turn_where_their_stations_do_are_fair(deck: tuple[float, ...]) -> None:
    """A sheer that the stations themselves raise and lower, and one that is flat, are no humps."""
    assert found(plan(deck, (0.0, 225.0, 450.0, 675.0, 900.0)))[1] == []


def test_build_tells_it() -> None:
    """The findings of a whole plug hold it."""
    from plugs.findings import line_findings
    from plugs.recipe.plug import Plug

    lines = plan((180.0, 180.0, 180.0, 187.0, 198.0))
    plug = Plug(name="Deck", stations=lines.stations, bays="faired")
    assert [f.code for f in line_findings(plug, checked_loft(lines))] == ["hump-between-stations"]
