"""A faired line that humps where it was drawn flat is told, with two stations that cure it."""

from __future__ import annotations

import re

import numpy as np
import pytest

from plugs.lines import humps
from plugs.lines.checks import checked_loft
from plugs.lines.humps import LARGEST_HUMP, hump_findings
from plugs.lines.lengthwise import Curves
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
    value, place = re.search(r"draw it with z = ([0-9.]+) at x = ([0-9.]+)", one.remedy).groups()  # type: ignore[union-attr]
    moved = tuple(float(value) if at == float(place) else h for at, h in zip(XS, deck, strict=True))
    again, none = found(plan(moved))
    line = again.sections(t).corners[:, loft.table.corner_names.index("deck edge"), 1]
    assert none == []
    assert abs(line - np.clip(line, *sorted(moved[bay : bay + 2]))).max() <= LARGEST_HUMP + 1e-9
    for way in ("faired within", "straight"):
        assert f'"{way}"' in one.remedy
        kept, none = found(plan(deck, bays={"deck edge": way}))
        line = kept.sections(t).corners[:, loft.table.corner_names.index("deck edge"), 1]
        assert none == []
        assert (line - np.clip(line, *sorted(pair))) == pytest.approx(0.0, abs=1e-9)


def test_deck_that_is_straight_to_a_station_and_faired_after_it_does_not_hump() -> None:
    """The deck of the first example, flat to the last of its three equal stations, then up."""
    deck = (180.0, 180.0, 180.0, 187.0, 198.0)
    loft, none = found(plan(deck, bays={"deck edge": ("straight", "straight", "faired", "faired")}))
    z = loft.sections(np.linspace(0.0, 600.0, 301)).corners[:, 1, 1]
    assert none == []
    assert z == pytest.approx(180.0, abs=1e-9)
    after = loft.sections(np.linspace(600.0, 900.0, 301)).corners[:, 1, 1]
    assert (np.diff(after) > 0.0).all()


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


def crowned(crown: tuple[float, ...], xs: tuple[float, ...] = XS, bays: object = "faired") -> LinesPlan:
    """Return a box of 200 mm, 180 high, whose deck is crowned so at these stations."""
    stations = [
        Station(
            x=x,
            corners={"chine": Corner(100.0, 0.0), "deck edge": Corner(100.0, 180.0)},
            crowns={"deck": rise},
        )
        for x, rise in zip(xs, crown, strict=True)
    ]
    return LinesPlan(stations=stations, bays=bays, panels=("floor", "side", "deck"))  # type: ignore[arg-type]


def test_a_crown_that_humps_is_told_and_each_remedy_clears_it() -> None:
    """As the sections have it: between two equal crowns the deck dips, as a batten does."""
    crown = (10.0, 10.0, 10.0, 17.0, 30.0)
    loft, (one,) = found(crowned(crown))
    assert one.where.startswith("crown of panel 'deck' at x = ")
    told = float(re.search(r"the faired crown dips under both by ([0-9.]+) mm$", one.message)[1])  # type: ignore[index]
    panel = loft.table.panel_names.index("deck")
    rise = loft.sections(np.linspace(XS[1], XS[2], 2001)).rise[:, panel]
    assert told == pytest.approx(10.0 - rise.min(), abs=0.06)
    more = [(float(x), float(c)) for x, c in re.findall(r"x = ([0-9.]+) \(crown = ([0-9.]+)\)", one.remedy)]
    assert len(more) == 2
    rows = sorted([*zip(XS, crown, strict=True), *more])
    assert found(crowned(tuple(c for _, c in rows), tuple(x for x, _ in rows)))[1] == []
    value, place = re.search(r"draw it with crown = ([0-9.]+) at x = ([0-9.]+)", one.remedy).groups()  # type: ignore[union-attr]
    moved = tuple(float(value) if at == float(place) else c for at, c in zip(XS, crown, strict=True))
    assert found(crowned(moved))[1] == []
    assert found(crowned(crown, bays={"deck edge": "faired within"}))[1] == []
    assert found(crowned((10.0, 18.0, 20.0, 17.0, 12.0)))[1] == []


def test_values_that_would_cure_a_tall_hump_are_tried_together(monkeypatch: pytest.MonkeyPatch) -> None:
    """Curves are drawn for some hundred pairs of stations, and sixteen steps of a value at a time."""
    drawn, through = [0], humps.through

    def counted(*words: np.ndarray) -> Curves:
        drawn[0] += 1
        return through(*words)

    monkeypatch.setattr(humps, "through", counted)
    (one,) = found(plan((290.0, 291.0, 291.0, 520.0, 900.0)))[1]
    assert float(re.search(r"by ([0-9.]+) mm in z", one.message)[1]) > 40.0  # type: ignore[index]
    assert drawn[0] < 300
