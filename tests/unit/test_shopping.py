"""The shopping list: whole packs in the cheapest way, whole metres and sheets, prices that are missing."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plugs.laminate.choosing import from_data_sheet
from plugs.laminate.dosing import Shop
from plugs.laminate.generic import CLOTHS, FOAMS, RESINS
from plugs.laminate.layup import lay_up
from plugs.laminate.plies import Ply, Schedule
from plugs.laminate.resin_plan import plan_resin
from plugs.laminate.shopping import Need, choose_packs, layup_needs, need_of, shopping_list
from plugs.summary.csv_files import shopping_rows
from plugs.summary.laminate import PURCHASES, cost
from plugs.tables.rows import csv_text


@pytest.mark.parametrize(
    ("amount", "packs", "chosen"),
    [
        (2.684, {1.0: 8.0, 5.0: 30.0}, ((3, 1.0),)),
        (4.2, {1.0: 8.0, 5.0: 30.0}, ((1, 5.0),)),
        (12.0, {1.0: 8.0, 5.0: 30.0, 25.0: 100.0}, ((2, 5.0), (2, 1.0))),
        (21.0, {1.0: 8.0, 5.0: 30.0, 25.0: 100.0}, ((1, 25.0),)),
        (5.0, {1.0: 6.0, 5.0: 30.0}, ((1, 5.0),)),
        (3.01, {1.0: None}, ((4, 1.0),)),
        (3.0, {1.0: None}, ((3, 1.0),)),
        (0.001, {1.0: None, 5.0: None}, ((1, 1.0),)),
        (24.0, {1.0: None, 5.0: None, 25.0: None}, ((1, 25.0),)),
        (12.0, {1.0: None, 5.0: None, 25.0: None}, ((2, 5.0), (2, 1.0))),
        (7.0, {1.0: None, 5.0: 30.0}, ((2, 5.0),)),
        (1000.0, {0.1: 4.0, 1.0: 20.0}, ((1000, 1.0),)),
    ],
)
def test_packs(
    amount: float, packs: dict[float, float | None], chosen: tuple[tuple[int, float], ...]
) -> None:
    """Cheapest, then least left over; a pack without a price is not chosen where others have one."""
    assert choose_packs(amount, packs) == chosen


@given(
    amount=st.floats(0.01, 60.0),
    packs=st.dictionaries(st.integers(1, 25), st.floats(0.5, 100.0), min_size=1, max_size=3),
)
def test_no_cheaper_way(amount: float, packs: dict[int, float]) -> None:
    """Against every count of every pack up to enough of it alone."""
    chosen = choose_packs(amount, {float(s): p for s, p in packs.items()})
    assert sum(n * size for n, size in chosen) >= amount - 1e-6
    ours = sum(n * packs[int(size)] for n, size in chosen)
    counts = (range(math.ceil(amount / s) + 1) for s in packs)
    best = min(
        sum(n * p for n, p in zip(way, packs.values(), strict=True))
        for way in itertools.product(*counts)
        if sum(n * s for n, s in zip(way, packs, strict=True)) >= amount
    )
    assert ours == pytest.approx(best, abs=1e-5)


def test_needs_of_the_same_thing_are_bought_together() -> None:
    """Two pieces of 0.6 m are 2 m of roll, not 1 and 1 by chance."""
    mat = from_data_sheet(CLOTHS["mat 450"], packs={1.0: 5.0})
    bought = shopping_list([need_of(mat, 0.6, "deck"), need_of(mat, 0.7, "side")], "CHF")
    (line,) = bought.purchases
    assert (line.bought, line.price, line.need.words) == (2.0, 10.0, "deck; side")
    assert bought.currency == "CHF"


def test_missing_price_is_told() -> None:
    """It is left out of the total, and named."""
    bought = shopping_list(
        [need_of(from_data_sheet(FOAMS["pu 40"], packs={1.0: 18.0}), 3), need_of(RESINS["epoxy"], 2)]
    )
    assert bought.total == 54.0
    assert bought.missing == ("epoxy",)
    assert cost(bought) == {
        "currency": "EUR",
        "total": 54.0,
        "used_total": 54.0,
        "without_price": ("epoxy",),
    }
    text = csv_text(shopping_rows(bought))
    assert text.splitlines()[-1] == ",total,,,,54.00,without: epoxy"
    assert PURCHASES.told(bought.purchases[1])["price"] is None


def test_nothing_needed_nothing_bought() -> None:
    """No line for it."""
    assert (
        shopping_list([Need(name="x", group="glue", amount=0.0, unit="kg", packs={1.0: 1.0})]).purchases == ()
    )


def test_what_a_layup_needs_without_a_dose() -> None:
    """The most hardener of the range, with a remark; an epoxy's mixture as resin, with one too."""
    plies = [Ply(cloth="mat 450"), Ply(cloth="peel ply 85")]
    metres = {"mat 450": 1.5, "peel ply 85": 1.5}
    layup = lay_up(Schedule(plies=plies, barrier="epoxy coats"), ("deck",), foam="xps 35")
    plan = plan_resin(layup, {"deck": 1.0}, Shop())
    needs = {n.name: n for n in layup_needs(layup, plan, metres, barrier_m2=1.0)}
    assert list(needs) == ["mat 450", "peel ply 85", "epoxy coats", "polyester", "mekp"]
    assert needs["mekp"].amount == plan.hardener_most_kg
    assert "not known" in needs["mekp"].words
    assert needs["epoxy coats"].amount == pytest.approx(0.4)
    other = lay_up(Schedule(plies=plies, resin="epoxy"), ("deck",), foam="xps 35")
    plan = plan_resin(other, {"deck": 1.0}, Shop())
    needs = {n.name: n for n in layup_needs(other, plan, metres)}
    assert needs["epoxy"].amount == plan.mixed_kg
    assert "not known" in needs["epoxy"].words
    assert "amine" not in needs
