"""The schedule over the places of a part: zones, contents, thickness by place, and what is refused."""

from __future__ import annotations

import pytest

from plugs.ground.checking import checked
from plugs.ground.errors import PlugError
from plugs.laminate.choosing import from_data_sheet
from plugs.laminate.generic import CLOTHS, RESINS
from plugs.laminate.layup import Layup, lay_up, skin_of
from plugs.laminate.plies import Ply, Schedule, ply_thickness, usual_content
from plugs.summary.laminate import layup_figures

PLACES = ("floor", "side", "deck", "front", "rear", "plate")


def lay(*plies: Ply, **more: object) -> Layup:
    """Return a schedule over six places, floor and front bare."""
    words = {w: more.pop(w) for w in ("foam", "zones") if w in more}
    schedule = checked(Schedule(plies=plies, **more), Schedule, "schedule")  # type: ignore[arg-type]
    return lay_up(schedule, PLACES, bare=("floor", "front"), **words)  # type: ignore[arg-type]


def test_all_is_what_is_not_bare() -> None:
    """In the part's order."""
    layup = lay(Ply(cloth="mat 450"))
    assert layup.plies[0].places == layup.covered == ("side", "deck", "rear", "plate")
    assert layup.bare == ("floor", "front")
    assert layup.laminates["floor"].plies == ()


def test_zones_stand_for_their_places() -> None:
    """A zone's name, a place's name, or both."""
    layup = lay(Ply(cloth="mat 450", zone=("sides", "deck")), zones={"sides": ("side", "rear")})
    assert layup.plies[0].places == ("side", "deck", "rear")


@pytest.mark.parametrize("zone", ["dekc", ("deck", "dekc"), 3])
def test_place_that_there_is_not(zone: object) -> None:
    """The closest first."""
    with pytest.raises(PlugError) as caught:
        lay(Ply(cloth="mat 450", zone=zone))  # type: ignore[arg-type]
    assert caught.value.param == "schedule.plies[0].zone"
    if zone != 3:
        assert caught.value.remedy.startswith("use one of: deck")


def test_bare_place_takes_no_ply() -> None:
    """What would do is listed, and does."""
    with pytest.raises(PlugError) as caught:
        lay(Ply(cloth="mat 450", zone="floor"))
    assert "bare" in caught.value.remedy
    assert "side, deck, rear, plate" in caught.value.remedy


@pytest.mark.parametrize(
    ("more", "param"),
    [
        ({"method": "by foot"}, "schedule.method"),
        ({"resin": "polyestre"}, "schedule.resin"),
        ({"hardener": "amine"}, "schedule.hardener"),
        ({"resin": "epoxy", "hardener": "mekp"}, "schedule.hardener"),
        ({"foam": "xps"}, "foam"),
        ({"barrier": "paint"}, "schedule.barrier"),
        ({"finish_kg_m2": -1.0}, "schedule.finish_kg_m2"),
        ({"seal_kg_m2": 9.0}, "schedule.seal_kg_m2"),
        ({"passes": (0, 1)}, "schedule.passes[0]"),
    ],
)
def test_wrong_word_of_a_schedule(more: dict[str, object], param: str) -> None:
    """Each is named."""
    with pytest.raises(PlugError) as caught:
        lay(Ply(cloth="mat 450"), **more)
    assert caught.value.param == param


def test_wrong_value_of_a_ply() -> None:
    """The ply is counted from 0, as the recipe's list is."""
    for word, value in (("cloth", "mat 451"), ("glass_content", 45.0), ("bias_deg", 120.0)):
        with pytest.raises(PlugError) as caught:
            lay(Ply(cloth="mat 450"), Ply(**{"cloth": "mat 450", word: value}))  # type: ignore[arg-type]
        assert caught.value.param == f"schedule.plies[1].{word}"


def test_thickness_adds_up_by_place() -> None:
    """A ply more on the deck, and the finishing coat as cured resin."""
    layup = lay(Ply(cloth="mat 450"), Ply(cloth="mat 300", zone="deck"), finish_kg_m2=0.12)
    side, deck = layup.laminates["side"], layup.laminates["deck"]
    assert deck.thickness - side.thickness == pytest.approx(layup.plies[1].thickness)
    assert side.thickness == pytest.approx(layup.plies[0].thickness + 0.1)
    assert side.resin_kg_m2 == pytest.approx(1.05 + 0.12)
    assert deck.spread == pytest.approx(0.15 * deck.thickness)
    assert layup.laminates["floor"].mass_kg_m2 == 0.0


def test_resin_of_its_own_density() -> None:
    """Epoxy is lighter than the formula's resin, so the ply is thicker for the same content."""
    thin = lay(Ply(cloth="cloth 200"), resin="polyester").plies[0].thickness
    thick = lay(Ply(cloth="cloth 200"), resin="epoxy").plies[0].thickness
    assert thick == pytest.approx(ply_thickness(200.0, 0.48, 2560.0, 1150.0))
    assert thick > thin == pytest.approx(ply_thickness(200.0, 0.48))


def test_peel_ply_takes_resin_and_leaves_nothing() -> None:
    """It has patterns and resin, but no thickness and no mass in the part."""
    layup = lay(Ply(cloth="mat 450"), Ply(cloth="peel ply 85"))
    assert layup.plies[1].resin_kg_m2 == CLOTHS["peel ply 85"].resin_uptake_kg_m2 > 0.0
    assert layup.plies[1].thickness == layup.plies[1].glass_kg_m2 == 0.0
    assert layup.laminates["deck"] == lay(Ply(cloth="mat 450")).laminates["deck"]


def test_content_of_cloth_ply_and_vacuum() -> None:
    """The ply's own word counts before the cloth's, that before the usual; vacuum gives more glass."""
    own = from_data_sheet(CLOTHS["cloth 200"], glass_content=0.5)
    assert lay(Ply(cloth=own)).plies[0].glass_content == 0.5
    assert lay(Ply(cloth=own)).plies[0].content_source.startswith("sheet:")
    assert lay(Ply(cloth=own, glass_content=0.55)).plies[0].glass_content == 0.55
    hand, vacuum = (usual_content(CLOTHS["mat 450"], m)[0] for m in ("hand", "vacuum"))
    assert vacuum == pytest.approx(hand + 0.10)


def test_seal_coat_is_the_foams_own_and_none_over_a_barrier() -> None:
    """Unless the schedule says otherwise."""
    assert lay(Ply(cloth="mat 450"), foam="pu 40").seal_kg_m2 == 0.3
    assert lay(Ply(cloth="mat 450"), barrier="foil tape").seal_kg_m2 == 0.0
    assert lay(Ply(cloth="mat 450"), barrier="foil tape", seal_kg_m2=0.1).seal_kg_m2 == 0.1


def test_skin_that_the_foam_is_set_back_by() -> None:
    """The thickness most places have, others by name; recesses are not told by a skin."""
    layup = lay(Ply(cloth="mat 450"), Ply(cloth="mat 300", zone="deck"))
    skin = skin_of(layup, ("floor", "side", "deck", "front", "rear"), filler=0.5)
    assert skin.thickness == layup.laminates["side"].thickness
    assert skin.by_panel == {"deck": layup.laminates["deck"].thickness}
    assert skin.no_laminate == ("floor", "front")
    assert skin.filler == 0.5


def test_no_plies_is_no_skin() -> None:
    """An empty schedule is allowed."""
    assert skin_of(lay(), ("side", "deck")).thickness == 0.0


def test_figures_hold_every_ply_and_place() -> None:
    """As in the record, rounded."""
    layup = lay(Ply(cloth="mat 450"), Ply(cloth="mat 300", zone="deck"))
    told = layup_figures(layup)
    assert [p["number"] for p in told["plies"]] == [1, 2]
    assert told["places"]["deck"]["thickness_mm"] == pytest.approx(
        layup.laminates["deck"].thickness, rel=1e-8
    )
    assert told["labels"]["polyester"] == "practice"
    assert list(told["places"]) == list(PLACES)
    assert RESINS["polyester"].name == told["resin"]
