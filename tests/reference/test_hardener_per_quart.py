"""Doses of peroxide by volume, and pot life, against what books and suppliers print.

Sources, with how sure they are (Cs confirmed in a secondary text, M from memory, D derived here):

- US quart: 1 % = 9 cc, 1.5 % = 14 cc, 2 % = 18 cc: a book quoted on a forum, Cs.
- 1 kg at 1 % = 10 ml, 2 % = 20 ml, with the hardener taken as 1 g/ml: a supplier's page, Cs.
- Densities 1.10 (polyester) and 1.13 (hardener): M. Litre and US gallon with these: D.
- US quart 0.946352946 l, gallon 3.785411784 l: 231 cubic inches to the gallon, definition, M.
- Pot life halves for 10 C more: an epoxy maker's page, Cs.

Tolerances: half the last printed digit; 1 cc on the book's whole cubic centimetres, which are rounded for a
syringe (13.8 to 14, 9.2 to 9).
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from plugs.laminate.dosing import Shop, dose_of, pot_life_at
from plugs.laminate.generic import HARDENERS, RESINS
from plugs.laminate.materials import Hardener, Resin

QUART_ML = 946.352946
GALLON_ML = 3785.411784
POLYESTER, MEKP = RESINS["polyester"], HARDENERS["mekp"]


def hardener_ml(resin_ml: float, percent: float, resin: Resin, hardener: Hardener) -> float:
    """Return the hardener for a volume of resin, by the dose that a shop asks for."""
    dose = dose_of(resin, hardener, Shop(hardener_percent=percent))
    assert dose.percent_by_volume is not None
    return 0.01 * dose.percent_by_volume * resin_ml


@pytest.mark.parametrize(
    ("percent", "book", "exact"), [(1.0, 9.0, 9.21), (1.5, 14.0, 13.82), (2.0, 18.0, 18.42)]
)
def test_quart(percent: float, book: float, exact: float) -> None:
    """The book's cubic centimetres, rounded; the derived ones to their last digit."""
    ours = hardener_ml(QUART_ML, percent, POLYESTER, MEKP)
    assert ours == pytest.approx(book, abs=0.5)
    assert ours == pytest.approx(exact, abs=0.005)


def test_litre_and_gallon() -> None:
    """Derived: 9.73 and 19.47 ml to the litre, 36.9 and 73.7 ml to the US gallon."""
    assert hardener_ml(1000.0, 1.0, POLYESTER, MEKP) == pytest.approx(9.73, abs=0.005)
    assert hardener_ml(1000.0, 2.0, POLYESTER, MEKP) == pytest.approx(19.47, abs=0.005)
    assert hardener_ml(GALLON_ML, 1.0, POLYESTER, MEKP) == pytest.approx(36.9, abs=0.06)
    assert hardener_ml(GALLON_ML, 2.0, POLYESTER, MEKP) == pytest.approx(73.7, abs=0.05)


def test_ten_ml_to_the_kilogram() -> None:
    """The supplier's shorthand takes the hardener as 1 g/ml."""
    water = replace(MEKP, density_kg_m3=1000.0)
    kilogram_ml = 1e6 / POLYESTER.density_kg_m3
    assert hardener_ml(kilogram_ml, 1.0, POLYESTER, water) == pytest.approx(10.0, rel=1e-12)
    assert hardener_ml(kilogram_ml, 2.0, POLYESTER, water) == pytest.approx(20.0, rel=1e-12)


def test_pot_life_halves_for_ten_degrees() -> None:
    """From 15 min at 20 C: 30 at 10, 7.5 at 30; 18 F are 10 C."""
    assert [pot_life_at(POLYESTER, t) for t in (10.0, 20.0, 30.0)] == pytest.approx([30.0, 15.0, 7.5])
    assert pot_life_at(POLYESTER, 20.0 + 18.0 / 1.8) == pytest.approx(7.5)
    assert pot_life_at(RESINS["epoxy"], 20.0) is None
