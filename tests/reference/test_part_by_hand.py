"""A whole part worked by hand from areas to cost, beside what the skin's stages say.

No source but arithmetic: contents 0.30 and 0.48 and the formula of ISO 12215-5 (M), densities 1100 and 1130
kg/m3 (M), pot life 15 min at 20 C (Cs). Prices are invented. Tolerance: the digits written below.
"""

from __future__ import annotations

import pytest

from plugs.laminate.choosing import from_data_sheet
from plugs.laminate.dosing import Shop
from plugs.laminate.generic import CLOTHS, FOAMS, HARDENERS, RESINS
from plugs.laminate.layup import lay_up
from plugs.laminate.part import laminate_shares, weigh
from plugs.laminate.plies import Ply, Schedule
from plugs.laminate.resin_plan import plan_resin
from plugs.laminate.shopping import layup_needs, need_of, shopping_list

AREAS = {"deck": 0.6, "side": 0.3, "rear": 0.1}
CENTROIDS = {"deck": (500.0, 0.0, 300.0), "side": (500.0, 0.0, 150.0), "rear": (1000.0, 0.0, 150.0)}


def test_cover_of_one_square_metre() -> None:
    """A cover of deck 0.6, sides 0.3 and stern 0.1 m2 over PU foam, which is dug out; its floor stays bare.

    Plies: mat 450 all over, woven roving 600 on the deck, mat 300 all over. Polyester, 1.5 % of hardener.

    =============  ======  ========  ===========  =============
    per m2         glass   resin     laminate     thickness
    =============  ======  ========  ===========  =============
    mat 450        0.45    1.05      1.50         1.0508 mm
    woven roving   0.60    0.65      1.25         0.7760 mm
    mat 300        0.30    0.70      1.00         0.7005 mm
    deck           1.35    2.40      3.75         2.5273 mm
    side, stern    0.75    1.75      2.50         1.7513 mm
    =============  ======  ========  ===========  =============

    Mass 0.6 x 3.75 + 0.4 x 2.50 = 2.25 + 1.00 = 3.25 kg. Centre x = (2.25 x 500 + 0.75 x 500 + 0.25 x 1000)
    / 3.25 = 1750 / 3.25 = 538.46 mm, z = (675 + 112.5 + 37.5) / 3.25 = 253.85 mm.

    Resin with 10 % waste: seal coat 0.3 x 1.0 x 1.1 = 0.330 kg; plies 1.155, 0.65 x 0.6 x 1.1 = 0.429 and
    0.770 kg; in all 2.684 kg = 2.44 l. Hardener 1.5 % = 40.26 g = 35.63 ml.

    Pot life 15 min at 20 C, of which 0.6 = 9 min are used; at 10 min to the m2 a batch covers 0.9 m2, and it
    weighs 1 kg at most. Seal coat 1.0 m2: 2 batches; ply 1, 1.155 x 1.015 = 1.172 kg: 2 batches of 577.5 g =
    525 ml with 8.66 g = 7.67 ml; ply 2, 0.6 m2: 1; ply 3, 1.0 m2: 2. In all 7; 10 x 3.6 = 36 min of laying.
    All of it wet is 2.53 mm, less than 3: one pass.

    To buy: resin 2.684 kg is 3 tins of 1 kg at 8, cheaper than one of 5 kg at 30: 24. Hardener 1 bottle of
    0.1 kg at 4. Mat 450 1.3 m of roll: 2 m at 5; woven roving 0.7 m: 1 m at 6; mat 300 1.3 m: 2 m at 4; 3
    sheets of foam at 18. In all 24 + 4 + 10 + 6 + 8 + 54 = 106. Used up: 2.684/3 x 24 + 0.4026 x 4 +
    1.3/2 x 10 + 0.7 x 6 + 1.3/2 x 8 + 54 = 21.472 + 1.610 + 6.5 + 4.2 + 5.2 + 54 = 92.98.
    """
    polyester = from_data_sheet(RESINS["polyester"], packs={1.0: 8.0, 5.0: 30.0})
    mekp = from_data_sheet(HARDENERS["mekp"], packs={0.1: 4.0})
    mat, roving, light = (
        from_data_sheet(CLOTHS[name], packs={1.0: price})
        for name, price in (("mat 450", 5.0), ("woven roving 600", 6.0), ("mat 300", 4.0))
    )
    schedule = Schedule(
        plies=[Ply(cloth=mat), Ply(cloth=roving, zone="deck"), Ply(cloth=light)],
        resin=polyester,
        hardener=mekp,
    )
    layup = lay_up(schedule, ["floor", "side", "deck", "rear"], foam="pu 40", bare=["floor"])
    deck, side, floor = (layup.laminates[p] for p in ("deck", "side", "floor"))
    assert (deck.glass_kg_m2, deck.resin_kg_m2, deck.mass_kg_m2) == pytest.approx((1.35, 2.40, 3.75))
    assert (side.glass_kg_m2, side.resin_kg_m2, side.mass_kg_m2) == pytest.approx((0.75, 1.75, 2.50))
    assert (deck.thickness, side.thickness) == pytest.approx((2.5273, 1.7513), abs=0.6e-4)
    assert floor.thickness == floor.mass_kg_m2 == 0.0

    part = weigh(laminate_shares(layup, [(p, AREAS[p], CENTROIDS[p], p) for p in AREAS], foam_stays=False))
    assert part.mass_kg == pytest.approx(3.25)
    assert part.area_m2 == pytest.approx(1.0)
    assert part.centre == pytest.approx((538.46, 0.0, 253.85), abs=0.005)

    plan = plan_resin(layup, AREAS, Shop(temperature_c=20.0, hardener_percent=1.5))
    assert [m.resin_kg for m in plan.mixes] == pytest.approx([0.330, 1.155, 0.429, 0.770])
    assert (plan.resin_kg, plan.resin_l) == pytest.approx((2.684, 2.44))
    assert plan.hardener_kg == pytest.approx(0.04026)
    assert plan.hardener_ml == pytest.approx(35.63, abs=0.005)
    assert [m.n_batches for m in plan.mixes] == [2, 2, 1, 2]
    batch = plan.mixes[1].batch
    assert (batch.resin_kg, batch.resin_ml) == pytest.approx((0.5775, 525.0))
    assert (batch.hardener_kg, batch.hardener_ml) == pytest.approx((8.66e-3, 7.67), rel=1e-3)
    assert plan.minutes == pytest.approx(36.0)
    assert [p.plies for p in plan.passes] == [(1, 2, 3)]

    needs = layup_needs(layup, plan, {"mat 450": 1.3, "woven roving 600": 0.7, "mat 300": 1.3})
    bought = shopping_list([*needs, need_of(from_data_sheet(FOAMS["pu 40"], packs={1.0: 18.0}), 3)])
    assert {p.need.name: p.price for p in bought.purchases} == {
        "mat 450": 10.0, "woven roving 600": 6.0, "mat 300": 8.0, "polyester": 24.0, "mekp": 4.0,
        "pu 40": 54.0,
    }  # fmt: skip
    assert bought.total == pytest.approx(106.0)
    assert bought.used_total == pytest.approx(92.98, abs=0.005)
    assert bought.missing == ()
