"""Thickness, mass and density of glass laminates against published formulas, sheets and definitions.

Sources, with how sure they are (C confirmed, Cs confirmed in a secondary text, M from memory, P common
practice, D derived or computed here from a formula whose source is named):

- t[mm] = w/3.072 (2.56/psi - 1.36), w in kg/m2: ISO 12215-5 (2008, 2019), annex on laminates: M. That it is
  the rule of mixtures with 2.56 and 1.20: algebra, D.
- Contents for hand lay-up: nominal values of ISO 12215-5: M.
- Thickness of cured cloths, average of several plies by hand in epoxy: a manufacturer's page, Cs; its weights
  in oz/yd2 turned to g/m2: D.
- Densities of laminates, 1.37 at 30 % mat and 1.64 at 50 % woven roving: a handbook property sheet, Cs.
- mm per kg/m2 of glass, 2.24 for mat at 33 % and 1.25 for woven roving at 45 %: a calculation sheet citing
  BS 4994:1987, figure 5: Cs.
- Ounce, yard and foot: international yard and pound agreement, 1959, M; values D.

Tolerances: algebra to rounding; printed values to half their last digit; published thicknesses to the spread
that is stated with every thickness (15 %, P); densities to the share of voids that is stated (5 %, P) below,
and above to the half per cent to which the sheet's content is printed.
"""

from __future__ import annotations

import pytest

from plugs.laminate.choosing import oz_per_ft2, oz_per_yd2
from plugs.laminate.generic import CLOTHS
from plugs.laminate.layup import lay_up
from plugs.laminate.materials import Cloth
from plugs.laminate.plies import SPREAD_RATIO, Ply, Schedule, ply_thickness, usual_content


def published_formula(weight_kg_m2: float, psi: float) -> float:
    """Return the thickness by the standard's formula, as it is printed."""
    return weight_kg_m2 / 3.072 * (2.56 / psi - 1.36)


@pytest.mark.parametrize("psi", [0.15, 0.25, 0.30, 0.36, 0.45, 0.48, 0.55, 0.70])
@pytest.mark.parametrize("weight_gsm", [30.0, 203.4, 450.0, 800.0])
def test_formula_is_the_rule_of_mixtures(weight_gsm: float, psi: float) -> None:
    """3.072 = 2.56 x 1.20 and 1.36 = 2.56 - 1.20, so both say the same to rounding."""
    assert ply_thickness(weight_gsm, psi) == pytest.approx(
        published_formula(1e-3 * weight_gsm, psi), rel=1e-14
    )


@pytest.mark.parametrize(
    ("kind", "weight_gsm", "psi", "thickness", "resin", "laminate"),
    [
        ("mat", 300.0, 0.30, 0.7005, 0.700, 1.000),
        ("mat", 450.0, 0.30, 1.0508, 1.050, 1.500),
        ("mat", 600.0, 0.30, 1.4010, 1.400, 2.000),
        ("woven roving", 600.0, 0.48, 0.7760, 0.650, 1.250),
        ("woven roving", 800.0, 0.48, 1.0347, 0.867, 1.667),
        ("cloth", 203.4, 0.45, 0.2866, 0.249, 0.452),
        ("cloth", 339.1, 0.45, 0.4778, 0.414, 0.754),
    ],
)
def test_printed_rows(
    kind: str, weight_gsm: float, psi: float, thickness: float, resin: float, laminate: float
) -> None:
    """Rows worked out from the formula by hand (D), in polyester, to their last digit."""
    cloth = Cloth(name="as printed", kind=kind, weight_gsm=weight_gsm, glass_content=psi)
    over = lay_up(Schedule(plies=[Ply(cloth=cloth)]), ["deck"]).laminates["deck"]
    assert over.thickness == pytest.approx(thickness, abs=0.5e-4)
    assert over.resin_kg_m2 == pytest.approx(resin, abs=0.5e-3)
    assert over.mass_kg_m2 == pytest.approx(laminate, abs=0.5e-3)


@pytest.mark.parametrize("ounces", [4.0, 6.0, 9.0, 10.0, 17.0])
def test_published_thickness_lies_within_the_spread(ounces: float) -> None:
    """Cloths by hand in epoxy, Cs; what a build says without being told the content covers them."""
    published = {4.0: 0.008, 6.0: 0.010, 9.0: 0.017, 10.0: 0.016, 17.0: 0.035}[ounces] * 25.4
    kind = CLOTHS["biaxial 17 oz" if ounces == 17.0 else "cloth 6 oz"]
    content, _ = usual_content(kind, "hand")
    ours = ply_thickness(oz_per_yd2(ounces), content, resin_kg_m3=1150.0)
    assert abs(published - ours) <= SPREAD_RATIO * ours


@pytest.mark.parametrize(
    ("cloth", "psi", "published", "by_mixtures"),
    [("mat 450", 0.30, 1.37, 1.428), ("woven roving 600", 0.50, 1.64, 1.634)],
)
def test_density_of_handbook_laminates(cloth: str, psi: float, published: float, by_mixtures: float) -> None:
    """Polyester by hand: mixtures give the mass without voids, the sheet (Cs) has at most 5 % of them."""
    over = lay_up(Schedule(plies=[Ply(cloth=cloth, glass_content=psi)]), ["deck"]).laminates["deck"]
    density = over.mass_kg_m2 / over.thickness
    assert density == pytest.approx(by_mixtures, abs=0.5e-3)
    assert 0.95 * density <= published <= 1.005 * density


@pytest.mark.parametrize(("psi", "published"), [(0.33, 2.24), (0.45, 1.25)])
def test_thickness_for_each_kg_of_glass(psi: float, published: float) -> None:
    """Another standard's curve (Cs): 7 % over and 13 % under, both within the spread."""
    assert published == pytest.approx(ply_thickness(1000.0, psi), rel=SPREAD_RATIO)


def test_nominal_contents() -> None:
    """ISO 12215-5 nominal contents, M: simple and complex surface."""
    for name, simple, awkward in (
        ("mat 450", 0.30, 0.25),
        ("woven roving 600", 0.48, 0.36),
        ("unidirectional 300", 0.55, 0.41),
        ("combination 500/300", 0.46 - 0.18 * 0.375, 0.35 - 0.11 * 0.375),
    ):
        assert usual_content(CLOTHS[name], "hand")[0] == pytest.approx(simple, abs=1e-12)
        assert usual_content(CLOTHS[name], "hand, awkward")[0] == pytest.approx(awkward, abs=1e-12)


def test_content_of_fine_cloth_and_stitched_cloth() -> None:
    """Within what published thicknesses imply with a resin of 1.15: 0.44 to 0.52, over 0.43 (D from Cs)."""
    assert 0.44 <= usual_content(CLOTHS["cloth 200"], "hand")[0] <= 0.52
    assert 0.43 <= usual_content(CLOTHS["biaxial 600"], "hand")[0] <= 0.50


def test_ounces() -> None:
    """1 oz/yd2 = 33.9057 g/m2, 1 oz/ft2 = 305.152 g/m2, 1.5 oz/ft2 = 457.7 g/m2 (D from the definitions)."""
    assert oz_per_yd2(1.0) == pytest.approx(33.9057, abs=0.5e-4)
    assert oz_per_ft2(1.0) == pytest.approx(305.152, abs=0.5e-3)
    assert oz_per_ft2(1.5) == pytest.approx(457.7, abs=0.05)
    assert oz_per_ft2(1.0) == pytest.approx(9.0 * oz_per_yd2(1.0), rel=1e-14)
    assert CLOTHS["cloth 6 oz"].weight_gsm == pytest.approx(203.4, abs=0.05)
    assert CLOTHS["cloth 10 oz"].weight_gsm == pytest.approx(339.1, abs=0.05)
