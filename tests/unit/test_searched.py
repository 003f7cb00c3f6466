"""The search: its sheets keep every promise, are no worse than the default's, and are stored.

A shelf packer written here stands in for the solver, which depends on machine and load; the solver itself is
tried once.
"""

from __future__ import annotations

import copy
import json
import sys
from dataclasses import replace
from typing import Any

import pytest
import shapely

from plugs.foam.stock import Blank, Cutting, Stock
from plugs.ground.errors import PlugError
from plugs.nesting import searched
from plugs.nesting.nesting import Nesting, fault_of, nest
from plugs.nesting.searched import Found, Strip, nest_searched, packed_strip
from plugs.nesting.stored import fingerprint, read_stored, stored
from tests.blanks import blanks_of, garments

WHOLE = Stock(width=1250.0, height=900.0, thickness=50.0)


def shelves(strip: Strip) -> list[Found]:
    """Pack boxes in columns, each as wide as its first one, unturned, the gap kept everywhere."""
    places: list[Found] = []
    x, y, wide = strip.gap, strip.gap, 0.0
    for outline in strip.outlines:
        left, bottom, right, top = outline.bounds
        if y + top - bottom + strip.gap > strip.height:
            x, y, wide = x + wide + strip.gap, strip.gap, 0.0
        places.append((0.0, x - left, y - bottom))
        y, wide = y + top - bottom + strip.gap, max(wide, right - left)
    return places


def overlapping(strip: Strip) -> list[Found]:
    """Put everything into the same corner."""
    return [(0.0, strip.gap - o.bounds[0], strip.gap - o.bounds[1]) for o in strip.outlines]


def names(nesting: Nesting) -> list[str]:
    """Return the names of all placed blanks, sorted."""
    return sorted(p.piece.name for sheet in nesting.sheets for p in sheet.placements)


def columns() -> list[Blank]:
    """Return blanks that columns pack without waste: 3 sheets of 4 by 3."""
    return blanks_of([shapely.box(0, 0, 300, 288) for _ in range(36)])


def test_better_sheets_are_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the default is made poor, the sheets of the solver are taken, whole and sound."""
    blanks = columns()
    good = nest(blanks, [WHOLE], Cutting())

    def poor(blanks: list[Blank], stock: list[Stock], cutting: Cutting) -> Nesting:
        sheets = [nest([blank], stock, cutting).sheets[0] for blank in blanks]
        same = [replace(sheet, stock=sheets[0].stock) for sheet in sheets]
        return Nesting(sheets=tuple(same), cutting=cutting)

    monkeypatch.setattr(searched, "nest", poor)
    found = nest_searched(blanks, [WHOLE], Cutting(), seconds=1.0, solve=shelves)
    assert len(found.sheets) == len(good.sheets) == 3
    assert names(found) == names(good)
    assert not any(fault_of(s.stock, s.placements, Cutting()) for s in found.sheets)


@pytest.mark.parametrize("solve", [overlapping, lambda strip: None])
def test_a_solver_that_fails_leaves_the_default(solve: searched.Solver) -> None:
    """Places that overlap, or none at all, are not used."""
    blanks = blanks_of(garments(3, 8))
    plain = nest(blanks, [WHOLE], Cutting())
    found = nest_searched(blanks, [WHOLE], Cutting(), seconds=1.0, solve=solve)
    assert stored(found, blanks, [WHOLE], Cutting()) == stored(plain, blanks, [WHOLE], Cutting())


def test_blanks_in_holes_stay_there() -> None:
    """A sheet whose ring holds another blank is not packed anew, as the solver knows no holes."""
    ring = shapely.Point(0, 0).buffer(400.0).difference(shapely.Point(0, 0).buffer(250.0))
    blanks = blanks_of([ring, shapely.box(0, 0, 300, 300)])
    asked: list[Strip] = []

    def solve(strip: Strip) -> None:
        asked.append(strip)

    assert len(nest_searched(blanks, [WHOLE], Cutting(), seconds=1.0, solve=solve).sheets) == 1
    assert asked == []


def test_the_strip_keeps_margin_and_gap() -> None:
    """The strip is higher than the usable sheet by twice the gap, which the solver keeps from its edges."""
    asked: list[Strip] = []

    def solve(strip: Strip) -> list[Found]:
        asked.append(strip)
        return shelves(strip)

    blanks = blanks_of(garments(3, 5), turns="grain")
    nest_searched(blanks, [WHOLE], Cutting(), seconds=2.0, solve=solve)
    assert asked[0].height == pytest.approx(900.0 - 2 * 10.0 + 2 * 7.0)
    assert asked[0].gap == 7.0
    assert set(asked[0].turns_deg) == {(0.0, 180.0)}
    assert all(not outline.interiors for outline in asked[0].outlines)


def test_missing_solver_is_told_with_the_command(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the package the error says how to install it."""
    monkeypatch.setitem(sys.modules, "spyrrow", None)
    with pytest.raises(PlugError, match="pip install spyrrow"):
        nest_searched(blanks_of(garments(3, 3)), [WHOLE], Cutting(), seconds=1.0)


def test_a_panic_is_no_crash(monkeypatch: pytest.MonkeyPatch) -> None:
    """The solver's panics are taken by name, whatever else is raised goes through."""
    panic = type("PanicException", (BaseException,), {})

    class Broken:
        """A solver that raises."""

        error: type[BaseException] = panic

        def __getattr__(self, name: str) -> Any:
            def fail(*given: object, **more: object) -> None:
                if name == "StripPackingInstance":
                    raise self.error("strip-width is running away")

            return fail

    broken = Broken()
    monkeypatch.setitem(sys.modules, "spyrrow", broken)
    strip = Strip(outlines=(shapely.box(0, 0, 9, 9),), turns_deg=((0.0,),), height=5.0, gap=1.0, seconds=1)
    assert packed_strip(strip) is None
    broken.error = KeyboardInterrupt
    with pytest.raises(KeyboardInterrupt):
        packed_strip(strip)


def test_real_solver_is_no_worse() -> None:
    """Two seconds of search gives sound sheets that are no worse than the default's."""
    blanks = blanks_of(garments(3, 10))
    plain = nest(blanks, [WHOLE], Cutting())
    found = nest_searched(blanks, [WHOLE], Cutting(), seconds=2.0)
    assert len(found.sheets) <= len(plain.sheets)
    assert names(found) == names(plain)


# ---- stored placements


def test_stored_placements_are_read_again() -> None:
    """A record survives JSON, and gives the same sheets."""
    blanks = blanks_of(garments(3, 8))
    nesting = nest(blanks, [WHOLE], Cutting())
    record = json.loads(json.dumps(stored(nesting, blanks, [WHOLE], Cutting())))
    again = read_stored(record, blanks, [WHOLE], Cutting())
    assert again is not None
    assert stored(again, blanks, [WHOLE], Cutting()) == record


def test_a_record_of_something_else_is_not_used() -> None:
    """Another outline, stock or kerf, or a record that was changed by hand, is worked out anew."""
    blanks = blanks_of(garments(3, 8))
    record = stored(nest(blanks, [WHOLE], Cutting()), blanks, [WHOLE], Cutting())
    grown = [replace(blanks[0], outline=blanks[0].outline.buffer(0.5)), *blanks[1:]]
    assert read_stored(record, grown, [WHOLE], Cutting()) is None
    assert read_stored(record, blanks, [replace(WHOLE, width=1300.0)], Cutting()) is None
    assert read_stored(record, blanks, [WHOLE], Cutting(kerf=3.0)) is None
    for spoil in (
        lambda r: r["sheets"][0]["placements"].pop(),
        lambda r: r["sheets"][0]["placements"][0].update(dx=-400.0),
        lambda r: r["sheets"][0]["placements"][0].update(turn_deg=45.0),
        lambda r: r["sheets"][0]["placements"][0].update(dx="far"),
        lambda r: r["sheets"][0]["placements"][0].update(dx=float("nan")),
        lambda r: r["sheets"][0].update(stock=7),
        lambda r: r.pop("sheets"),
        lambda r: r.update(form=0),
    ):
        spoilt = copy.deepcopy(record)
        spoil(spoilt)
        assert read_stored(spoilt, blanks, [WHOLE], Cutting()) is None
    for nothing in (None, [], "text", {}):
        assert read_stored(nothing, blanks, [WHOLE], Cutting()) is None


def test_fingerprint_sees_a_micrometre_and_no_less() -> None:
    """Rounding of the last bit does not call for a new search; a hundredth of a millimetre does."""
    blank = Blank(name="P", layer="L01", outline=shapely.box(0, 0, 300.25, 200), thickness=50.0)
    first = fingerprint([blank], [WHOLE], Cutting())
    near = replace(blank, outline=shapely.box(0, 0, 300.25 + 1e-9, 200))
    far = replace(blank, outline=shapely.box(0, 0, 300.26, 200))
    assert fingerprint([near], [WHOLE], Cutting()) == first
    assert fingerprint([far], [WHOLE], Cutting()) != first
