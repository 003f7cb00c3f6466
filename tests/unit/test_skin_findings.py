"""Findings on the skin: each where it should be, silent where it should be, with a remedy that helps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from plugs.ground.errors import Finding
from plugs.laminate.choosing import from_data_sheet
from plugs.laminate.dosing import Shop
from plugs.laminate.generic import BARRIERS, FILLERS, FOAMS, GLUES, RESINS
from plugs.laminate.layup import Layup, lay_up
from plugs.laminate.material_findings import foam_findings, plan_findings, resin_findings
from plugs.laminate.part import FlatPanel, sag_under_hand
from plugs.laminate.plies import Ply, Schedule
from plugs.laminate.radii import ClothEdge, judge_edges
from plugs.laminate.resin_plan import plan_resin
from plugs.laminate.skin_findings import (
    Floor,
    edge_findings,
    ply_findings,
    sag_findings,
    shape_findings,
    thickness_findings,
)

EDGE = ClothEdge(
    place="edge of deck and side", radius=20.0, is_inside=False, length=900.0, between=("deck", "side")
)


def lay(*plies: Ply | str, foam: object = "pu 40", **more: object) -> Layup:
    """Return plies over deck and side; the floor stays bare."""
    laid = [Ply(cloth=p) if isinstance(p, str) else p for p in plies]
    return lay_up(Schedule(plies=laid, **more), ("deck", "side", "floor"), foam=foam, bare=("floor",))  # type: ignore[arg-type]


def mixed(layup: Layup, **shop: float) -> list[Finding]:
    """Return the findings of a plan for a square metre of each."""
    return list(plan_findings(layup, plan_resin(layup, {"deck": 1.0, "side": 1.0}, Shop(**shop))))


def codes(found: Sequence[Finding]) -> dict[str, str]:
    """Return severity by code; every finding is whole."""
    assert all(f.code and f.where and f.message and f.remedy for f in found)
    return {f.code: f.severity for f in found}


@pytest.mark.parametrize("resin", ["polyester", "vinylester"])
@pytest.mark.parametrize("foam", ["eps 18", "xps 35"])
def test_polystyrene_under_styrene_resin(resin: str, foam: str) -> None:
    """An error; with a barrier a note; each remedy makes it go."""
    assert codes(resin_findings(lay("mat 450", foam=foam, resin=resin)))["foam-dissolved"] == "stop"
    barred = codes(resin_findings(lay("mat 450", foam=foam, resin=resin, barrier="epoxy coats")))
    assert barred["barrier-trial"] == "note"
    assert "foam-dissolved" not in barred
    for cure in ({"foam": foam, "resin": "epoxy"}, {"foam": "pu 40", "resin": resin}):
        assert "foam-dissolved" not in codes(resin_findings(lay("cloth 280", **cure)))


def test_barrier_that_does_not_stop_this_resin() -> None:
    """It counts for nothing."""
    weak = from_data_sheet(BARRIERS["foil tape"], stops=("epoxy",))
    assert codes(resin_findings(lay("mat 450", foam="xps 35", barrier=weak)))["foam-dissolved"] == "stop"


@pytest.mark.parametrize(("foam", "severity"), [("pu 40", "stop"), ("pir 32", "stop"), ("pvc 75", "stop")])
def test_hot_wire_through_foam_that_poisons(foam: str, severity: str) -> None:
    """PU, PIR and PVC: an error, and only with a hot wire."""
    assert codes(foam_findings(FOAMS[foam], uses_hot_wire=True)) == {"hot-wire": severity}
    assert foam_findings(FOAMS[foam]) == ()


def test_hot_wire_through_polystyrene_and_through_the_unknown() -> None:
    """The one is usual, of the other only its sheet knows."""
    assert foam_findings(FOAMS["xps 35"], uses_hot_wire=True) == ()
    other = from_data_sheet(FOAMS["pu 40"], kind="other", hot_wire="sheet")
    assert codes(foam_findings(other, uses_hot_wire=True)) == {"hot-wire": "mind"}


def test_glue_and_filler_that_dissolve_the_foam() -> None:
    """Contact glue and polyester filler on polystyrene; what the remedy names does not."""
    found = foam_findings(FOAMS["xps 35"], [GLUES["contact glue"]], [FILLERS["polyester filler"]])
    assert codes(found) == {"glue-dissolves-foam": "stop", "filler-dissolves-foam": "stop"}
    for finding, table in zip(found, (GLUES, FILLERS), strict=True):
        cures = finding.remedy.removeprefix("use ").partition(",")[0].split(" or ")
        assert all("polystyrene" not in table[c].dissolves for c in cures)
    assert foam_findings(FOAMS["pu 40"], [GLUES["contact glue"]], [FILLERS["polyester filler"]]) == ()


def test_warm_laminate_on_polystyrene() -> None:
    """Polyester to 65 C on foam for 73.9 C is nearer than 10 C; epoxy is a note; no limit, no finding."""
    barred = resin_findings(lay("mat 450", foam="xps 35", barrier="foil tape"))
    assert codes(barred)["foam-heat"] == "mind"
    assert codes(resin_findings(lay("cloth 200", foam="xps 35", resin="epoxy"))) == {"foam-heat": "note"}
    cool = from_data_sheet(RESINS["epoxy"], peak_c=45.0)
    assert resin_findings(lay("cloth 200", foam="xps 35", resin=cool)) == ()
    assert resin_findings(lay("mat 450")) == ()


def test_mat_in_epoxy() -> None:
    """Its binder wants styrene; woven cloth is silent."""
    assert codes(resin_findings(lay("mat 450", resin="epoxy"))) == {"mat-with-epoxy": "mind"}
    assert resin_findings(lay("cloth 200", resin="epoxy")) == ()


def test_dose_that_only_the_sheet_knows() -> None:
    """A warning with the range, or without one for a fixed ratio; given, it is silent."""
    unknown = next(f for f in mixed(lay("mat 450")) if f.code == "dose-unknown")
    assert "1 to 2 %" in unknown.message
    epoxy = next(f for f in mixed(lay("cloth 200", resin="epoxy")) if f.code == "dose-unknown")
    assert "no hardener" in epoxy.message
    assert mixed(lay("mat 450"), hardener_percent=1.5) == []
    known = from_data_sheet(RESINS["epoxy"], ratio_by_mass=(100.0, 30.0), pot_life_min=25.0)
    assert mixed(lay("cloth 200", resin=known)) == []


def test_wide_range_and_ratios_that_disagree() -> None:
    """Both are doubts about what was copied from a sheet."""
    wide = from_data_sheet(RESINS["polyester"], percent_range=(1.0, 3.0))
    assert codes(mixed(lay("mat 450", resin=wide), hardener_percent=3.0)) == {"dose-range": "mind"}
    apart = from_data_sheet(
        RESINS["epoxy"], ratio_by_mass=(2.0, 1.0), ratio_by_volume=(2.0, 1.0), pot_life_min=25.0
    )
    assert codes(mixed(lay("cloth 200", resin=apart))) == {"ratio-apart": "mind"}


def test_shop_too_cold_and_too_warm() -> None:
    """Under the resin's least; and where the pot is hard before it is empty."""
    assert codes(mixed(lay("mat 450"), hardener_percent=2.0, temperature_c=12.0)) == {"shop-cold": "mind"}
    hot = mixed(lay("mat 450"), hardener_percent=1.0, temperature_c=30.0)
    assert codes(hot) == {"pot-life-short": "mind"}
    assert mixed(lay("mat 450"), hardener_percent=1.0, temperature_c=20.0) == []


def test_thick_wet_build_up() -> None:
    """Four plies of mat at once; parted as the remedy says it is a note; one ply alone too thick."""
    thick = mixed(lay(*["mat 450"] * 4, passes=(4,)), hardener_percent=1.5)
    assert codes(thick) == {"too-thick-wet": "mind"}
    assert "in 2 passes" in thick[0].remedy
    parted = mixed(lay(*["mat 450"] * 4), hardener_percent=1.5)
    assert codes(parted) == {"lay-up-passes": "note"}
    assert "plies 1 to 2; plies 3 to 4" in parted[0].message
    alone = mixed(lay(Ply(cloth="woven roving 800", glass_content=0.15)), hardener_percent=1.5)
    assert codes(alone) == {"too-thick-wet": "mind"}
    assert "two lighter" in alone[0].remedy


def test_blend_too_tight() -> None:
    """The radius that the remedy names, less the skin, is enough for the cloth."""
    layup = lay("mat 450")
    tight = replace(EDGE, radius=5.0)
    (found,) = edge_findings(layup, judge_edges(layup, [tight]), filler=0.5)
    assert found.code == "blend-tight"
    drawn = float(found.remedy.split()[4])
    over = layup.laminates["deck"].thickness + 0.5
    assert judge_edges(layup, [replace(EDGE, radius=drawn - over + 0.05)])[0].is_tight is False
    assert edge_findings(layup, judge_edges(layup, [EDGE])) == ()


def test_inside_corner_wants_a_fillet() -> None:
    """How large, and how much filler: 900 mm of 13 mm fillet in a sharp corner is 33 cm3."""
    layup = lay("mat 450")
    corner = replace(EDGE, radius=0.0, is_inside=True)
    (found,) = edge_findings(layup, judge_edges(layup, [corner]), filler_kg_m3=1750.0)
    assert found.code == "inside-corner"
    volume = 0.214602 * 13.0**2 * 900.0 / 1000.0
    assert f"{volume:.0f} cm3 ({1.75 * volume:.0f} g)" in found.remedy


def test_foam_under_a_mould() -> None:
    """Polystyrene gives trouble: said only where a mould is taken."""
    assert shape_findings(lay("mat 450")) == ()
    assert codes(shape_findings(lay("cloth 280", foam="xps 35", resin="epoxy"), is_mould_taken=True)) == {
        "mould-plug": "note"
    }


def test_thin_foam_behind_a_recess() -> None:
    """The remedy's depth leaves just enough."""
    layup = lay("mat 450")
    (found,) = shape_findings(layup, [Floor(place="pocket", behind=8.5), Floor(place="b", behind=12.0)])
    assert (found.code, found.where) == ("thin-floor", "pocket")
    assert found.remedy.startswith("make it 3.5 mm less deep")


def test_ply_that_ends_on_a_blend() -> None:
    """A ply on the deck alone; none on a sharp edge, at a bare floor, or where it covers both sides."""
    layup = lay("mat 450", Ply(cloth="mat 300", zone="deck", name="deck doubler"))
    (found,) = ply_findings(layup, [EDGE])
    assert found.code == "ply-edge-on-blend"
    assert "deck doubler" in found.message
    assert "50 mm" in found.remedy
    assert ply_findings(layup, [replace(EDGE, radius=0.0)]) == ()
    assert ply_findings(layup, [replace(EDGE, between=("side", "floor"))]) == ()
    assert ply_findings(lay("mat 450", "mat 300"), [EDGE]) == ()


def test_plies_that_help_nobody() -> None:
    """A ply over nothing, a place under nothing, a peel ply under another ply."""
    layup = lay_up(
        Schedule(plies=[Ply(cloth="mat 450", zone="deck"), Ply(cloth="mat 450", zone="none")]),
        ("deck", "side"),
        foam="pu 40",
        zones={"none": ()},
    )
    assert codes(ply_findings(layup)) == {"unused-ply": "mind", "no-ply": "mind"}
    assert codes(ply_findings(lay("peel ply 85", "mat 450"))) == {"peel-ply-inside": "stop"}
    assert ply_findings(lay("mat 450", "peel ply 85")) == ()


def test_light_skin_and_coarse_weave() -> None:
    """Less than 300 g/m2 of glass; roving outermost, but not under a tissue."""
    assert codes(ply_findings(lay("cloth 200"))) == {"light-skin": "mind"}
    assert codes(ply_findings(lay("cloth 200"), foam_stays=True)) == {"light-skin": "note"}
    assert codes(ply_findings(lay("mat 450", "woven roving 600"))) == {"print-through": "note"}
    assert ply_findings(lay("mat 450", "woven roving 600", "tissue 30")) == ()


def test_large_flat() -> None:
    """It gives under a hand; with the remedy's thickness or crown it does not."""
    layup = lay("mat 450")
    panel = FlatPanel(place="deck", length=700.0, width=500.0)
    sag = sag_under_hand(layup, panel)
    assert sag is not None
    (found,) = sag_findings([sag])
    assert found.code == "large-flat"
    assert sag.sag > 0.5 * sag.thickness
    assert "far too thin" in found.message
    assert sag_findings([replace(sag, sag=2.9)]) == ()
    assert sag_findings([replace(sag, panel=replace(panel, crown=5.0))]) == ()
    assert "crown it by 5 mm" in found.remedy
    # two flats of one panel: told once, with what clears both
    broad = sag_under_hand(layup, replace(panel, length=900.0, width=800.0))
    assert broad is not None and broad.least_thickness > sag.least_thickness
    both = sag_findings([sag, broad])
    assert both == sag_findings([broad, sag]) == sag_findings([broad])
    assert [one.where for one in sag_findings([sag, replace(broad, panel=replace(panel, place="rear"))])] == [
        "deck",
        "rear",
    ]


def test_thickness_that_the_plies_do_not_make() -> None:
    """Within the spread it is silent."""
    layup = lay("mat 450")
    assert codes(thickness_findings(layup, {"deck": 2.0, "side": 1.1, "floor": 0.0, "front": 2.0})) == {
        "skin-thickness": "mind"
    }
    assert thickness_findings(layup, {"deck": 1.15}) == ()


def test_no_schedule_no_findings() -> None:
    """A recipe without plies hears nothing."""
    layup = lay(foam="xps 35")
    assert resin_findings(layup) == ply_findings(layup, [EDGE]) == ()
    assert mixed(layup) == []
