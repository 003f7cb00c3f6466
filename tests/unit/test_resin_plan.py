"""Doses, batches and passes: nothing outside the resin's range, nothing guessed, no pot too large."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plugs.ground.checking import checked
from plugs.ground.errors import PlugError
from plugs.laminate.choosing import from_data_sheet
from plugs.laminate.dosing import Shop, dose_of
from plugs.laminate.generic import HARDENERS, RESINS
from plugs.laminate.layup import Layup, lay_up
from plugs.laminate.plies import Ply, Schedule
from plugs.laminate.resin_plan import passes_of, plan_resin
from plugs.summary.csv_files import UNKNOWN
from plugs.summary.laminate import MIXES, PLIES, resin

POLYESTER, MEKP, AMINE = RESINS["polyester"], HARDENERS["mekp"], HARDENERS["amine"]
AREAS = {"deck": 0.8, "side": 1.4}


def lay(*cloths: str, **more: object) -> Layup:
    """Return plies all over deck and side, on PU foam."""
    plies = [Ply(cloth=cloth) for cloth in cloths]
    return lay_up(Schedule(plies=plies, **more), ("deck", "side"), foam="pu 40")  # type: ignore[arg-type]


def test_without_the_sheet_there_is_no_dose_but_its_range() -> None:
    """The hardener is not known; its range is."""
    plan = plan_resin(lay("mat 450"), AREAS, Shop())
    assert plan.dose.percent is None
    assert plan.hardener_kg is None
    assert plan.hardener_ml is None
    assert plan.resin_kg is not None
    assert plan.hardener_least_kg == pytest.approx(0.01 * plan.resin_kg)
    assert plan.hardener_most_kg == pytest.approx(0.02 * plan.resin_kg)
    assert all(m.hardener_kg is None and m.batch.hardener_ml is None for m in plan.mixes)
    assert all(UNKNOWN in row for row in MIXES.rows(plan.mixes, bench=True, unknown=UNKNOWN)[1:])


@pytest.mark.parametrize(("percent", "nearest"), [(0.5, "1"), (2.5, "2"), (-1.0, None), (math.inf, None)])
def test_dose_outside_the_range_is_refused(percent: float, nearest: str | None) -> None:
    """And the remedy is a dose inside."""
    with pytest.raises(PlugError) as caught:
        plan_resin(lay("mat 450"), AREAS, Shop(hardener_percent=percent))
    assert caught.value.param == "shop.hardener_percent"
    if nearest is not None:
        assert caught.value.remedy.startswith(f"use {nearest},")
        assert plan_resin(lay("mat 450"), AREAS, Shop(hardener_percent=float(nearest))).hardener_kg


@given(
    least=st.floats(0.5, 2.0),
    width=st.floats(0.0, 2.0),
    rows=st.lists(st.tuples(st.integers(5, 35), st.floats(0.0, 1.0)), max_size=5),
    temperature=st.floats(0.0, 45.0),
)
def test_no_dose_outside_the_range_whatever_is_asked(
    least: float, width: float, rows: list[tuple[int, float]], temperature: float
) -> None:
    """Tables of doses are read between their rows, never beyond; what comes out lies in the range."""
    most = min(4.0, least + width)
    doses = {float(t): min(most, least + share * (most - least)) for t, share in rows}
    resin = from_data_sheet(POLYESTER, percent_range=(least, most), doses=doses)
    dose = dose_of(resin, MEKP, Shop(temperature_c=temperature))
    inside = bool(doses) and min(doses) <= temperature <= max(doses)
    assert (dose.percent is not None) == inside
    if dose.percent is not None:
        assert least - 1e-12 <= dose.percent <= most + 1e-12


def test_table_of_doses_between_its_rows() -> None:
    """Half way is the mean; outside the sheet says nothing, and that is said."""
    resin = from_data_sheet(POLYESTER, doses={15.0: 2.0, 20.0: 1.5, 25.0: 1.0})
    assert dose_of(resin, MEKP, Shop(temperature_c=17.5)).percent == pytest.approx(1.75)
    assert dose_of(resin, MEKP, Shop(temperature_c=25.0)).percent == pytest.approx(1.0)
    cold = dose_of(resin, MEKP, Shop(temperature_c=12.0))
    assert cold.percent is None
    assert "15 to 25 C" in cold.source


def test_one_row_holds_for_its_own_temperature_alone() -> None:
    """No dose for a warmer shop from one for a colder."""
    resin = from_data_sheet(POLYESTER, doses={20.0: 1.5})
    assert dose_of(resin, MEKP, Shop(temperature_c=20.0)).percent == 1.5
    assert "20 C alone" in dose_of(resin, MEKP, Shop(temperature_c=23.0)).source


def test_fixed_ratio_is_never_varied() -> None:
    """A dose in percent is refused for it."""
    with pytest.raises(PlugError) as caught:
        dose_of(
            from_data_sheet(RESINS["epoxy"], ratio_by_mass=(100.0, 30.0)), AMINE, Shop(hardener_percent=2.0)
        )
    assert caught.value.param == "shop.hardener_percent"


def test_ratio_by_volume_and_by_mass() -> None:
    """2 : 1 by volume with 1150 and 1000 kg/m3 is 100 : 43.5 by mass; the mixture is what the cloth takes."""
    epoxy = from_data_sheet(RESINS["epoxy"], ratio_by_volume=(2.0, 1.0), pot_life_min=30.0)
    plan = plan_resin(lay("cloth 200", resin=epoxy), AREAS, Shop())
    assert plan.dose.percent == pytest.approx(100.0 * 0.5 * 1000.0 / 1150.0)
    assert plan.resin_kg is not None
    assert plan.hardener_kg is not None
    assert plan.resin_kg + plan.hardener_kg == pytest.approx(plan.mixed_kg)
    assert plan.resin_l is not None
    assert plan.hardener_ml == pytest.approx(500.0 * plan.resin_l)
    one = plan.mixes[0].batch
    assert one.resin_ml is not None
    assert one.hardener_ml == pytest.approx(0.5 * one.resin_ml)
    by_mass = from_data_sheet(RESINS["epoxy"], ratio_by_mass=(100.0, 25.0))
    assert dose_of(by_mass, AMINE, Shop()).percent == pytest.approx(25.0)
    assert dose_of(by_mass, AMINE, Shop()).percent_by_volume == pytest.approx(25.0 * 1.15)


def test_epoxy_without_its_ratio() -> None:
    """The mixture is known, its parts are not; no range is made up."""
    plan = plan_resin(lay("cloth 200", resin="epoxy"), AREAS, Shop())
    assert plan.mixed_kg > 0.0
    assert plan.resin_kg is plan.hardener_kg is plan.hardener_least_kg is plan.resin_l is None
    assert plan.pot_life_min is plan.working_min is None


@given(
    areas=st.tuples(st.floats(0.001, 30.0), st.floats(0.001, 30.0)),
    temperature=st.floats(5.0, 40.0),
    minutes=st.floats(1.0, 60.0),
    largest=st.floats(0.05, 5.0),
)
def test_no_batch_is_too_large_or_too_slow(
    areas: tuple[float, float], temperature: float, minutes: float, largest: float
) -> None:
    """Each weighs and lasts no more than allowed, one fewer would not, and together they are all of it."""
    resin = from_data_sheet(POLYESTER, largest_batch_kg=largest)
    layup = lay("mat 450", "cloth 200", resin=resin)
    shop = Shop(temperature_c=temperature, minutes_per_m2=minutes, hardener_percent=1.5)
    plan = plan_resin(layup, dict(zip(("deck", "side"), areas, strict=True)), shop)
    assert plan.working_min is not None
    for mix in plan.mixes:
        assert mix.batch.mixed_kg <= largest * (1.0 + 1e-8)
        assert mix.batch.minutes <= plan.working_min * (1.0 + 1e-8)
        assert mix.n_batches * mix.batch.mixed_kg == pytest.approx(mix.mixed_kg)
        if (fewer := mix.n_batches - 1) > 0:
            slow = mix.area_m2 / fewer * minutes > plan.working_min * (1.0 - 1e-8)
            assert slow or mix.mixed_kg / fewer > largest * (1.0 - 1e-8)
    assert plan.n_batches == sum(m.n_batches for m in plan.mixes)
    assert plan.mixed_kg == pytest.approx(sum(m.mixed_kg for m in plan.mixes))


def test_area_with_overlaps() -> None:
    """Where the patterns know it, a ply takes resin for its overlaps too; coats do not."""
    layup = lay("mat 450")
    plain, lapped = (plan_resin(layup, AREAS, Shop(), laid) for laid in (None, {1: 2.5}))
    assert plain.mixes[1].area_m2 == pytest.approx(2.2)
    assert lapped.mixes[1].area_m2 == 2.5
    assert lapped.mixes[0] == plain.mixes[0]


def test_missing_area_is_our_fault() -> None:
    """A covered place without an area."""
    with pytest.raises(AssertionError):
        plan_resin(lay("mat 450"), {"deck": 1.0}, Shop())


def test_passes_keep_under_the_limit() -> None:
    """Five plies of 1.05 mm under 3 mm: two, two, one; the schedule's own word counts before that."""
    assert [p.plies for p in passes_of(lay(*["mat 450"] * 5))] == [(1, 2), (3, 4), (5,)]
    own = passes_of(lay(*["mat 450"] * 5, passes=(4, 1)))
    assert [p.plies for p in own] == [(1, 2, 3, 4), (5,)]
    assert own[0].thickness == pytest.approx(4.2031, abs=1e-4)


def test_plies_side_by_side_are_no_thicker() -> None:
    """What lies beside each other goes on in one pass."""
    plies = [Ply(cloth="mat 600", zone=z) for z in ("deck", "side", "deck", "side")]
    layup = lay_up(Schedule(plies=plies), ("deck", "side"), foam="pu 40")
    assert [p.plies for p in passes_of(layup)] == [(1, 2, 3, 4)]


def test_no_plies_nothing_to_mix() -> None:
    """Not even a seal coat."""
    plan = plan_resin(lay(), AREAS, Shop())
    assert plan.mixes == plan.passes == ()
    assert plan.mixed_kg == 0.0


@pytest.mark.parametrize(
    ("word", "value"),
    [
        ("temperature_c", 60.0),
        ("minutes_per_m2", 0.0),
        ("pot_life_ratio", 1.5),
        ("resin_waste_percent", -1.0),
    ],
)
def test_wrong_value_of_a_shop(word: str, value: float) -> None:
    """The field is named."""
    with pytest.raises(PlugError) as caught:
        checked(Shop(**{word: value}), Shop, "shop")
    assert caught.value.param == f"shop.{word}"


def test_tables_and_figures() -> None:
    """A row to a ply and a header; the figures are those of the plan."""
    layup = lay("mat 450", "tissue 30")
    plan = plan_resin(layup, AREAS, Shop(hardener_percent=1.5))
    assert len(PLIES.rows(layup.plies, bench=True)) == 3
    mixing = MIXES.rows(plan.mixes, bench=True, unknown=UNKNOWN)
    assert len(mixing) == 1 + len(plan.mixes)
    assert not any(UNKNOWN in row for row in mixing)
    told = resin(layup, plan)
    assert told is not None
    assert told["hardener_ml"] == pytest.approx(plan.hardener_ml, rel=1e-8)
    assert [m["batches"] for m in told["mixes"]] == [m.n_batches for m in plan.mixes]
