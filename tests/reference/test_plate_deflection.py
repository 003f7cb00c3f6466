"""A flat plate under a hand against the textbook's table and another series for the same plate.

Sources, with how sure they are (M from memory, D derived here):

- alpha in w = alpha P a2 / D, simply supported rectangle, point load in the middle, by b/a: S. Timoshenko and
  S. Woinowsky-Krieger, *Theory of Plates and Shells*, 2nd edition, 1959, table of the chapter on simply
  supported rectangular plates: M, not opened.
- Levy's single series for the same, w = P a2 / (2 pi3 D) sum over odd m of (tanh x - x / cosh2 x) / m3 with
  x = m pi b / (2 a): same book, M; it sums one direction in closed form, Navier's double series both.
- Stiffness of glass laminates 1000 (15 psi + 2) and 1000 (30 psi - 0.5) MPa: rules of classification
  societies, M; 6 to 8 GPa for mat at 30 % and 12 to 16 GPa for woven roving at 50 %: handbook ranges, M.

Tolerances: the table is held to 3.5e-5, since it was summed by hand with few terms (at b/a = 1.4 it is off
by 3 in its last digit); the two series agree to 2e-6, the terms that are left out of the double one.
"""

from __future__ import annotations

import math

import pytest

from plugs.laminate.layup import lay_up
from plugs.laminate.part import FlatPanel, plate_coefficient, ply_modulus, sag_under_hand
from plugs.laminate.plies import Ply, Schedule

TABLE = {
    1.0: 0.01160, 1.1: 0.01265, 1.2: 0.01353, 1.4: 0.01484, 1.6: 0.01570, 1.8: 0.01620, 2.0: 0.01651,
    3.0: 0.01690,
}  # fmt: skip
STRIP = 0.01695


def by_levy(ratio: float) -> float:
    """Return alpha by the single series, 400 terms."""
    total = 0.0
    for m in range(1, 800, 2):
        x = 0.5 * m * math.pi * ratio
        total += (math.tanh(x) - (x / math.cosh(x) ** 2 if x < 300.0 else 0.0)) / m**3
    return total / (2.0 * math.pi**3)


def by_navier(ratio: float, patch: float, n_terms: int) -> float:
    """Return alpha by the double series, term by term, for a square patch of a share of the short side."""
    total = 0.0
    for m in range(1, n_terms, 2):
        for n in range(1, n_terms, 2):
            u, v = 0.5 * math.pi * m * patch, 0.5 * math.pi * n * patch / ratio
            load = (math.sin(u) / u if u else 1.0) * (math.sin(v) / v if v else 1.0)
            total += load / (m * m + (n / ratio) ** 2) ** 2
    return 4.0 * total / (math.pi**4 * ratio)


@pytest.mark.parametrize("ratio", TABLE)
def test_table_of_the_book(ratio: float) -> None:
    """Point load, by the ratio of the sides."""
    assert plate_coefficient(ratio) == pytest.approx(TABLE[ratio], abs=3.5e-5)


def test_long_strip() -> None:
    """From 10 times as long as wide it is a strip."""
    assert plate_coefficient(10.0) == plate_coefficient(1e6) == pytest.approx(STRIP, abs=3.5e-5)


@pytest.mark.parametrize("ratio", [1.0, 1.3, 2.0, 4.5, 9.0])
def test_single_series(ratio: float) -> None:
    """Point load, by another way of summing."""
    assert plate_coefficient(ratio) == pytest.approx(by_levy(ratio), abs=2e-6)


@pytest.mark.parametrize(("ratio", "patch"), [(1.0, 0.2), (1.5, 0.4), (2.0, 0.1)])
def test_hand_of_some_breadth(ratio: float, patch: float) -> None:
    """A patch gives less than a point; the double series written out term by term says the same."""
    ours = plate_coefficient(ratio, patch)
    assert ours == pytest.approx(by_navier(ratio, patch, 160), rel=1e-5)
    assert ours < plate_coefficient(ratio)


def test_whole_plate_under_load() -> None:
    """A patch as large as a square plate is a uniform load: alpha 0.00406 of q a4 / D, same book, M."""
    assert plate_coefficient(1.0, 1.0) == pytest.approx(0.00406, abs=0.5e-5)


def test_deck_by_hand() -> None:
    """Two plies of mat 450 in polyester, 600 x 400 mm, 100 N on 80 x 80 mm, worked by hand.

    t = 2 x 1.0508 = 2.1016 mm; E = 1000 (15 x 0.30 + 2) = 6500 MPa;
    D = 6500 x 2.1016^3 / (12 x 0.91) = 5525.0 Nmm; a = 400 mm, b/a = 1.5, patch 0.2:
    alpha = 0.01456 (double series, term by term); w = 0.01456 x 100 x 400^2 / 5525 = 42.2 mm, far over 3 mm;
    t for 3 mm = 2.1016 (42.2 / 3)^(1/3) = 5.07 mm.
    """
    layup = lay_up(Schedule(plies=[Ply(cloth="mat 450")] * 2), ["deck"], foam="pu 40")
    sag = sag_under_hand(layup, FlatPanel(place="deck", length=600.0, width=400.0))
    assert sag is not None
    assert [ply_modulus(ply) for ply in layup.plies] == pytest.approx([6500.0, 6500.0])
    assert by_navier(1.5, 0.2, 160) == pytest.approx(0.01456, abs=0.5e-5)
    assert sag.sag == pytest.approx(42.2, abs=0.05)
    assert sag.least_thickness == pytest.approx(5.07, abs=0.005)


def test_stiffness_of_plies() -> None:
    """Mat at 30 % and woven roving at 50 % within handbook ranges (M); on the bias like mat; no peel ply."""
    plies = [
        Ply(cloth="mat 450", glass_content=0.30),
        Ply(cloth="woven roving 600", glass_content=0.50),
        Ply(cloth="woven roving 600", glass_content=0.50, bias_deg=45.0),
        Ply(cloth="peel ply 85"),
    ]
    mat, roving, bias, peel = (ply_modulus(p) for p in lay_up(Schedule(plies=plies), ["deck"]).plies)
    assert 6000.0 <= mat <= 8000.0
    assert 12000.0 <= roving <= 16000.0
    assert bias == pytest.approx(9500.0)
    assert peel == 0.0
