"""Materials: every value of the tables has its label, wrong ones are refused, a sheet's value enters."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace

import pytest

from plugs.ground.checking import checked
from plugs.ground.errors import PlugError
from plugs.laminate.choosing import check_material, from_data_sheet, material_named, sold_by, source_label
from plugs.laminate.generic import BARRIERS, BOARDS, CLOTHS, FILLERS, FOAMS, GLUES, HARDENERS, RESINS
from plugs.laminate.materials import LABELS, Cloth, Foam, Material, Resin

TABLES: tuple[Mapping[str, Material], ...] = (
    FOAMS, CLOTHS, RESINS, HARDENERS, GLUES, FILLERS, BOARDS, BARRIERS,
)  # fmt: skip
ALL = [material for table in TABLES for material in table.values()]
WITHOUT_SOURCE = {"name", "kind", "weave", "packs", "sources", "hardener", "hardens_by", "pot_life_c"}


@pytest.mark.parametrize("material", ALL, ids=lambda m: f"{type(m).__name__} {m.name}")
def test_every_value_has_a_label_and_a_source(material: Material) -> None:
    """What was given in a table, and is not merely a name, says where it came from."""
    plain = {f.name: f.default for f in fields(material)}
    for word, default in plain.items():
        value = getattr(material, word)
        if word not in WITHOUT_SOURCE and value and value != default:
            label, _, words = material.sources[word].partition(": ")
            assert label in LABELS, (word, label)
            assert len(words) > 5
    assert set(material.sources) <= set(plain)
    assert source_label(material) in LABELS


@pytest.mark.parametrize("material", ALL, ids=lambda m: f"{type(m).__name__} {m.name}")
def test_every_material_of_the_tables_passes_its_own_check(material: Material) -> None:
    """And no price is made up."""
    assert checked(material, type(material), "table") is material
    check_material(material, "table")
    assert all(price is None for price in material.packs.values())


def test_names_of_the_tables_are_the_names_of_the_records() -> None:
    """So that a list to buy by says what the recipe said."""
    for table in TABLES:
        assert [m.name for m in table.values()] == list(table)


def test_polystyrene_is_dissolved_and_polyurethane_meets_no_hot_wire() -> None:
    """The two that hurt."""
    for foam in FOAMS.values():
        assert ("polyester" in foam.dissolved_by) == (foam.kind == "polystyrene")
        assert (foam.hot_wire == "yes") == (foam.kind == "polystyrene")


def test_weakest_label_counts() -> None:
    """A record is as sure as its least sure value; a user's own without sources is the recipe's."""
    assert source_label(RESINS["polyester"]) == "practice"
    assert source_label(HARDENERS["mekp"]) == "memory"
    assert source_label(Foam(name="mine", kind="other", density_kg_m3=30.0)) == "recipe"


def test_unknown_name_lists_the_closest_first() -> None:
    """And says that a record of one's own will do."""
    with pytest.raises(PlugError) as caught:
        material_named("mat450", CLOTHS, "schedule.plies[0].cloth")
    assert caught.value.param == "schedule.plies[0].cloth"
    assert caught.value.remedy.startswith("use one of: mat 450, ")
    assert all(name in caught.value.remedy for name in CLOTHS)
    assert "Cloth(name=" in caught.value.remedy


@pytest.mark.parametrize("given", [3, None, RESINS["epoxy"]])
def test_record_of_another_kind(given: object) -> None:
    """A resin is no cloth."""
    with pytest.raises(PlugError) as caught:
        material_named(given, CLOTHS, "cloth")
    assert "neither" in caught.value.reason


def test_own_record_is_taken_as_it_is() -> None:
    """A cloth that is in no table."""
    own = Cloth(name="hemp 220", kind="cloth", weight_gsm=220.0, fibre_kg_m3=1480.0)
    assert material_named(own, CLOTHS, "cloth") is own


@pytest.mark.parametrize(
    ("word", "value"),
    [
        ("weight_gsm", 0.0), ("weight_gsm", "450"), ("weight_gsm", float("nan")), ("kind", "matt"),
        ("name", " "), ("roll_width", -1.0), ("packs", {}), ("packs", {0.0: 1.0}), ("packs", {1.0: -2.0}),
        ("packs", 5.0), ("glass_content", 48.0), ("mat_ratio", 1.5),
    ],
)  # fmt: skip
def test_wrong_value_of_a_cloth(word: str, value: object) -> None:
    """The field is named."""
    with pytest.raises(PlugError) as caught:
        from_data_sheet(CLOTHS["mat 450"], param="cloth", **{word: value})
    assert caught.value.param.startswith(f"cloth.{word}")


@pytest.mark.parametrize(
    ("word", "value"),
    [
        ("percent_range", (2.0, 1.0)), ("percent_range", (1.0, 5.0)), ("percent_range", 2.0),
        ("doses", {20.0: 2.5}), ("doses", {20.0: 0.5}), ("ratio_by_mass", (100.0,)),
        ("ratio_by_volume", "2:1"), ("ratio_by_mass", (100.0, 0.0)), ("hardens_by", "hope"),
        ("pot_life_min", 0.0),
    ],
)  # fmt: skip
def test_wrong_value_of_a_resin(word: str, value: object) -> None:
    """No dose outside its own range, and no range that nobody states."""
    with pytest.raises(PlugError) as caught:
        from_data_sheet(RESINS["polyester"], param="resin", **{word: value})
    assert caught.value.param.startswith(f"resin.{word}")


def test_remedy_for_a_range_the_wrong_way_round() -> None:
    """The remedy is what passes."""
    with pytest.raises(PlugError) as caught:
        from_data_sheet(RESINS["polyester"], percent_range=(2.0, 1.0))
    assert caught.value.remedy == "write (1, 2)"
    assert from_data_sheet(RESINS["polyester"], percent_range=(1.0, 2.0)).percent_range == (1.0, 2.0)


def test_list_of_kinds_is_a_list() -> None:
    """One kind alone is written as a tuple, as the remedy says."""
    with pytest.raises(PlugError) as caught:
        from_data_sheet(FOAMS["pu 40"], dissolved_by="polyester")
    assert caught.value.remedy == 'write dissolved_by=("polyester",)'


def test_value_from_the_sheet() -> None:
    """The value enters, labelled; the table's record is unchanged; prices are no physical value."""
    mine = from_data_sheet(
        RESINS["epoxy"], name="laminating epoxy", ratio_by_volume=(2.0, 1.0), packs={1.5: 38.0}
    )
    assert isinstance(mine, Resin)
    assert mine.ratio_by_volume == (2.0, 1.0)
    assert mine.sources["ratio_by_volume"].startswith("sheet:")
    assert "packs" not in mine.sources
    assert RESINS["epoxy"].ratio_by_volume is None
    assert mine == replace(mine)


def test_field_that_there_is_not() -> None:
    """The closest is named first."""
    with pytest.raises(PlugError) as caught:
        from_data_sheet(RESINS["epoxy"], pot_life=25.0)
    assert caught.value.remedy.startswith("use one of: pot_life_")


def test_what_is_sold_by_what() -> None:
    """Sheets, metres of roll, kilograms."""
    assert [sold_by(next(iter(t.values()))) for t in TABLES] == [
        "sheet", "m", "kg", "kg", "kg", "kg", "sheet", "kg",
    ]  # fmt: skip
