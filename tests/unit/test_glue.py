"""Where layers are glued: areas in closed form, the amount of glue, and what is said of weak joints."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest
import shapely

from plugs.foam.glue import LEAST_GLUED_MM2, LEAST_SHARE, Contact, Glue, make_contacts, polygons_of
from plugs.foam.layers import Layer, Stack, make_layers
from plugs.ground.checking import checked
from plugs.ground.errors import PlugError
from tests.shapes import box_plan, solid_of

NOTHING = shapely.MultiPolygon()


def region(shape: shapely.Geometry) -> shapely.MultiPolygon:
    """Return a shape as several polygons."""
    return polygons_of(shape)


def layer(
    index: int, lower: shapely.Geometry, upper: shapely.Geometry, *, at: float = 0.0, thick: float = 50.0
) -> Layer:
    """Return a layer with given faces."""
    low, high = region(lower), region(upper)
    cover = region(shapely.union(low, high))
    return Layer(
        name=f"L{index:02d}",
        index=index,
        axis="z",
        from_mm=at,
        to_mm=at + thick,
        thickness=thick,
        lower=low,
        upper=high,
        envelope=cover,
        rough=cover,
        volume_mm3=cover.area * thick,
    )


def stack_of(*faces: shapely.Geometry) -> list[Layer]:
    """Return layers of 50 mm, each with one outline on both of its faces."""
    return [layer(i, face, face, at=50.0 * (i - 1)) for i, face in enumerate(faces, start=1)]


def only(layers: Sequence[Layer], glue: Glue | None = None) -> Contact:
    """Return the one contact of two layers, about which nothing is said."""
    (contact,), findings = make_contacts(layers, glue or Glue())
    assert not findings
    return contact


def test_rectangle_less_its_margin() -> None:
    """300 x 200 less 15 mm all round is 270 x 170: 45 900 mm2, and 6.885 g at 150 g/m2."""
    contact = only(stack_of(shapely.box(0, 0, 300, 200), shapely.box(0, 0, 300, 200)))
    assert contact.touching_mm2 == pytest.approx(60_000.0)
    assert contact.glued_mm2 == pytest.approx(45_900.0)
    assert contact.glue_g == pytest.approx(6.885)
    assert contact.share_ratio == pytest.approx(1.0)
    assert (contact.lower_layer, contact.upper_layer, contact.at_mm) == ("L01", "L02", 50.0)


def test_disc_less_its_margin() -> None:
    """A disc of 100 mm less 15 mm is one of 85 mm, to what its chords lose."""
    disc = shapely.Point(0, 0).buffer(100.0, quad_segs=256)
    assert only(stack_of(disc, disc)).glued_mm2 == pytest.approx(math.pi * 85.0**2, rel=1e-4)


def test_only_what_lies_on_foam_is_glued() -> None:
    """A step: the margin runs along the smaller face, for the rest of the larger is final surface."""
    contact = only(stack_of(shapely.box(0, 0, 300, 200), shapely.box(100, 0, 400, 200)))
    assert contact.touching.equals(shapely.box(100, 0, 300, 200))
    assert contact.glued.equals(shapely.box(115, 15, 285, 185))
    assert contact.smaller_mm2 == pytest.approx(60_000.0)


def test_pocket_keeps_its_margin() -> None:
    """The wall of a pocket is final surface too: no glue within 15 mm of it."""
    face = shapely.box(0, 0, 300, 200).difference(shapely.box(100, 80, 200, 120))
    glued = only(stack_of(face, face)).glued
    assert glued.distance(shapely.box(100, 80, 200, 120)) == pytest.approx(15.0, abs=0.02)


def test_hollow_takes_glue_away_but_no_margin() -> None:
    """Glue runs up to the edge of a hollow, which nobody sands; either layer's hollow counts."""
    face, hollow = shapely.box(0, 0, 300, 200), shapely.box(100, 60, 200, 140)
    for name in ("L01", "L02"):
        (contact,), _ = make_contacts(stack_of(face, face), Glue(), {name: hollow})
        assert contact.touching_mm2 == pytest.approx(60_000.0 - 8_000.0)
        assert contact.glued_mm2 == pytest.approx(45_900.0 - 8_000.0)


def test_falling_stack_keeps_lower_and_upper() -> None:
    """Contact 1 lies between the first two layers stacked; the lower one is the one nearer 0."""
    layers, _ = make_layers(
        solid_of(box_plan(300.0, 200.0, 100.0)).body, Stack(thicknesses=(40.0,), direction="falling")
    )
    contacts, _ = make_contacts(layers, Glue())
    assert [(c.number, c.lower_layer, c.upper_layer, round(c.at_mm, 6)) for c in contacts] == [
        (1, "L02", "L01", 60.0),
        (2, "L03", "L02", 20.0),
    ]
    assert [(round(c.lower_mm, 6), round(c.upper_mm, 6)) for c in contacts] == [(40.0, 40.0), (20.0, 40.0)]


def test_one_layer_has_no_contact() -> None:
    """Nothing to glue, nothing to say."""
    assert make_contacts(stack_of(shapely.box(0, 0, 300, 200)), Glue()) == ((), ())


def test_layers_that_do_not_touch() -> None:
    """A gap between two layers is a warning, and no figure is divided by nothing."""
    (contact,), (finding,) = make_contacts(
        stack_of(shapely.box(0, 0, 100, 100), shapely.box(200, 0, 300, 100)), Glue()
    )
    assert (contact.touching_mm2, contact.glue_g, contact.share_ratio) == (0.0, 0.0, 0.0)
    assert (finding.code, finding.severity, finding.where) == (
        "no-contact",
        "mind",
        "between L01 and L02",
    )
    (empty,), _ = make_contacts(stack_of(shapely.box(0, 0, 100, 100), NOTHING), Glue())
    assert empty.share_ratio == 0.0


@pytest.mark.parametrize(("shift", "codes"), [(790.0, []), (810.0, ["little-contact"])])
def test_share_that_is_little(shift: float, codes: list[str]) -> None:
    """A fifth of the smaller face is the bound (common practice, no source)."""
    assert LEAST_SHARE == 0.2
    layers = stack_of(shapely.box(0, 0, 1000, 1000), shapely.box(shift, 0, 1000 + shift, 1000))
    assert [f.code for f in make_contacts(layers, Glue())[1]] == codes


def test_margin_of_the_remedy_would_do() -> None:
    """60 x 90 mm less 15 mm is 30 x 60 = 1800 mm2; the margin named leaves 2500 and no wider one does."""
    layers = stack_of(shapely.box(0, 0, 60, 90), shapely.box(0, 0, 60, 90))
    _, (finding,) = make_contacts(layers, Glue())
    assert (finding.code, finding.severity) == ("little-glue", "mind")
    margin = float(finding.remedy.rpartition(" ")[2])
    # (60 - 2 m)(90 - 2 m) = 2500 at m = (150 - sqrt(10 900)) / 4 = 11.3997
    assert margin == pytest.approx(11.3)
    assert make_contacts(layers, Glue(margin=margin))[1] == ()
    (wider,), _ = make_contacts(layers, Glue(margin=margin + 0.1))
    assert wider.glued_mm2 < LEAST_GLUED_MM2


def test_face_too_small_for_any_margin() -> None:
    """40 x 40 mm do not hold even without a margin: the joint should lie elsewhere."""
    _, (finding,) = make_contacts(stack_of(shapely.box(0, 0, 40, 40), shapely.box(0, 0, 40, 40)), Glue())
    assert finding.code == "little-glue"
    assert "stack.start" in finding.remedy


@pytest.mark.parametrize(
    ("words", "param"),
    [({"margin": -1.0}, "glue.margin"), ({"coverage_gsm": math.nan}, "glue.coverage_gsm")],
)
def test_wrong_words_are_refused(words: dict[str, float], param: str) -> None:
    """A margin below nothing, a coverage that is no number."""
    with pytest.raises(PlugError) as caught:
        make_contacts((), checked(Glue(**words), Glue, "glue"))
    assert caught.value.param == param


def test_lines_are_no_faces() -> None:
    """Two faces that share an edge only touch on no area."""
    (contact,), findings = make_contacts(
        stack_of(shapely.box(0, 0, 100, 100), shapely.box(100, 0, 200, 100)), Glue()
    )
    assert contact.touching.is_empty
    assert [f.code for f in findings] == ["no-contact"]


def test_template_between_is_glued_on_both_sides() -> None:
    """A template of 6 mm between two layers: the same region, twice the glue."""
    face = shapely.box(0, 0, 300, 200)
    (contact,), _ = make_contacts([layer(1, face, face), layer(2, face, face, at=56.0)], Glue())
    assert (contact.at_mm, contact.between_mm) == (50.0, 6.0)
    assert contact.glue_g == pytest.approx(2.0 * 6.885)
