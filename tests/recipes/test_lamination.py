"""The skin of the main demo, from schedule to cost, held against arithmetic and the shape's own figures."""

from __future__ import annotations

import csv
import io
import math
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from plugs.build import build
from plugs.drawings import cloth_drawings, laid_drawings
from plugs.ground.errors import PlugError, present
from plugs.ground.paper import paper_of
from plugs.pack.pack import PackJob, pack_pages
from plugs.summary.csv_files import csv_files
from plugs.work import Work, opened
from tests.demos import RECIPES, Reader, at_defaults, defaults_of, drawn, shelf_of


def tail() -> Work:
    """Return the main demo worked out."""
    return at_defaults("sidecar_tail")


def laid() -> Any:
    """Return the same, where whatever needs a schedule is there."""
    assert tail().layup is not None
    return tail()


def asking(*zones: str) -> Work:
    """Return the main demo that asks for the patterns of zones; all else is the defaults' work."""
    return Work(replace(tail().plug, patterns=zones), shelf=Reader(shelf_of("sidecar_tail")))


def edited(tmp_path: Path, *pairs: tuple[str, str]) -> Work:
    """Return the main demo with words of its recipe changed; what follows from none is the defaults' work."""
    text = (RECIPES / "sidecar_tail.py").read_text(encoding="utf-8")
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    (tmp_path / "sidecar_tub.csv").write_bytes((RECIPES / "sidecar_tub.csv").read_bytes())
    (tmp_path / "sidecar_tail.py").write_text(text, encoding="utf-8")
    return opened(tmp_path / "sidecar_tail.py", {}, shelf=Reader(shelf_of("sidecar_tail")))


def test_foam_and_schedule_make_the_finished_line() -> None:
    """The foam is set back by the plies' thickness and the filler: t = w (1/2560 + (1/psi - 1)/rho)."""
    work, made = tail(), laid()
    rho = made.layup.resin.cured_kg_m3
    by_hand = math.fsum(
        1e-3 * ply.cloth.weight_gsm * (1.0 / 2560.0 + (1.0 / ply.glass_content - 1.0) / rho) * 1e3
        for ply in made.layup.plies
    )
    assert made.layup.laminates["deck"].thickness == pytest.approx(by_hand, rel=1e-9)
    over = work.lines.cover.over(work.lines.foam, "deck")
    assert over == pytest.approx(by_hand + work.plug.skin.filler, rel=1e-9)
    assert work.skin_proof is not None
    assert work.skin_proof.largest_mm < 0.1
    assert not [f for f in work.findings if f.code == "skin-thickness"]


def test_a_thickness_of_the_recipes_own_is_kept_and_compared(tmp_path: Path) -> None:
    """Foam set back by 3.5 mm under plies of 1.5 mm is built as asked, and all panels are told of at once."""
    work = edited(tmp_path, ("Skin(filler=filler,", "Skin(thickness=3.5, filler=filler,"))
    assert work.lines.cover.over(work.lines.foam, "deck") == pytest.approx(3.9)
    (found,) = [f for f in work.found(("resin",)) if f.code == "skin-thickness"]
    assert {"deck", "side", "rear"} <= {*re.split(", | and ", found.where)}


def test_the_flange_is_laid_exactly_and_takes_no_net() -> None:
    """The tub's side bends one way: slivers along its line do not add up to strain, and no weave shears."""
    work = tail()
    assert work.cloth is not None and work.drape is not None
    (flange,) = [one for one in work.cloth.patterns.flats if one.patch.name == "joint with the tub flange"]
    assert flange.is_exact
    assert flange.largest_strain < 5e-4
    assert len(flange.patch.triangles) < 10_000
    assert "joint with the tub flange" not in [net.name for net in work.drape.laid]


def test_zones_cover_what_is_not_bare() -> None:
    """Area of the patches is that of the foam, less the floor, the front and the joint beside its flange."""
    work, made = tail(), laid()
    patches = math.fsum(patch.area_mm2 for patch in made.cloth.surface.patches)
    areas = made.cloth.surface.areas_mm2
    bare = math.fsum(areas[name] for name in areas if name in ("floor", "front", "joint with the tub"))
    assert patches + bare == pytest.approx(work.body.by_mesh.area_mm2, rel=5e-3)


def test_every_ply_covers_every_zone_with_its_laps() -> None:
    """A piece of cloth for each zone and ply, larger than the zone, and all of them on the roll."""
    made = laid()
    zones = {made.cloth.surface.zones[patch.zone].name for patch in made.cloth.surface.patches}
    for ply in made.layup.plies:
        mine = [pattern for pattern in made.cloth.patterns.patterns if pattern.ply == ply.number]
        assert {pattern.zone for pattern in mine} == zones
        total = math.fsum(pattern.area_mm2 for pattern in mine)
        net = math.fsum(pattern.surface_mm2 for pattern in mine)
        assert net < total < 2.0 * net
    on_rolls = [one.pattern for roll in made.cloth.rolls for one in roll.laid]
    assert math.fsum(p.area_mm2 for p in on_rolls) >= math.fsum(
        p.area_mm2 for p in made.cloth.patterns.patterns
    ) * (1.0 - 1e-6)
    for roll in made.cloth.rolls:
        for one in roll.laid:
            _, low, right, high = one.moved(one.pattern.outline).bounds
            assert low >= -1e-6
            assert high <= roll.roll_width + 1e-6
            assert right <= 1000.0 * roll.length_to_buy_m + 1e-6


def test_mixing_sheet_adds_up_by_hand() -> None:
    """Resin of each ply is area x glass x (1/psi - 1) and 10 % waste; 40 parts of hardener to 100 by mass."""
    made = laid()
    for mix in made.resin.mixes:
        if not mix.ply:
            continue
        ply = made.layup.plies[mix.ply - 1]
        area = 1e-6 * math.fsum(
            one.pattern.area_mm2
            for roll in made.cloth.rolls
            for one in roll.laid
            if one.pattern.ply == mix.ply
        )
        wet = area * 1e-3 * ply.cloth.weight_gsm * (1.0 / ply.glass_content - 1.0) * 1.1
        assert mix.mixed_kg == pytest.approx(wet, rel=1e-9)
        assert mix.resin_kg is not None
        assert mix.hardener_kg is not None
        assert mix.hardener_kg == pytest.approx(0.4 * mix.resin_kg)
        assert mix.resin_kg + mix.hardener_kg == pytest.approx(wet)
        assert mix.batch.mixed_kg <= made.layup.resin.largest_batch_kg + 1e-9
        assert made.resin.working_min is not None
        assert mix.batch.minutes <= made.resin.working_min + 1e-9
    rows = list(csv.DictReader(io.StringIO(csv_files(made)["cloth/mixing-sheet.csv"])))
    assert [row["what"] for row in rows] == [mix.what for mix in made.resin.mixes]


def test_part_weighs_its_plies() -> None:
    """Foam dug out: mass per m2 over the pieces as they are cut, less their trim, and 0.4 mm of filler.

    The places' own shares are area x mass per m2; the rest is laps and filler. The centre lies on the
    centreline.
    """
    made = laid()
    by_owner: dict[str, float] = {}
    for name, area in made.cloth.surface.areas_mm2.items():
        owner = made.cloth.surface.owners[name]
        by_owner[owner] = by_owner.get(owner, 0.0) + 1e-6 * area
    mass = math.fsum(
        by_owner[place] * made.layup.laminates[place].mass_kg_m2
        for place in made.layup.covered
        if place in by_owner
    )
    assert math.fsum(s.mass_kg for s in made.part.shares if s.area_m2) == pytest.approx(mass, rel=1e-6)
    names = [share.name for share in made.part.shares]
    assert len(set(names)) == len(names)  # left and right, wall and floor are told apart
    assert any(name.startswith("left ") for name in names)
    pieces = math.fsum(
        1e-6 * one.pattern.kept.area * (ply.glass_kg_m2 + ply.resin_kg_m2)
        for roll in made.cloth.rolls
        for one in roll.laid
        for ply in made.layup.plies
        if ply.number == one.pattern.ply
    )
    filler = next(p.need.amount for p in made.shopping.purchases if p.need.group == "filler")
    assert made.part.mass_kg == pytest.approx(pieces + filler, rel=1e-4)  # crumbs have no piece
    assert abs(made.part.centre[1]) < 5.0  # the tub is not quite even, and laps run one way round
    low, high = tail().body.by_mesh.lower, tail().body.by_mesh.upper
    assert all(a < c < b for a, c, b in zip(low, made.part.centre, high, strict=True))


def test_styrene_on_polystyrene_is_an_error(tmp_path: Path) -> None:
    """Polyester over XPS: an error, first in the list, until a barrier lies between."""
    resin = 'resin=from_data_sheet(RESINS["epoxy"], ratio_by_mass=(100.0, 40.0), pot_life_min=40.0),'
    bad = edited(tmp_path, (resin, 'resin="polyester",'))
    told = bad.found(("resin",))
    assert told[0].severity == "stop"
    assert "foam-dissolved" in [f.code for f in told if f.severity == "stop"]
    assert "dose-unknown" in [f.code for f in told]
    assert bad.resin is not None
    assert bad.resin.hardener_kg is None
    good = edited(tmp_path, (resin, 'resin="polyester", barrier="epoxy coats",'))
    assert "foam-dissolved" not in [f.code for f in good.found(("resin",)) if f.severity == "stop"]


def test_a_hot_wire_through_polyurethane_is_an_error(tmp_path: Path) -> None:
    """Said where the recipe says that it is used."""
    work = edited(tmp_path, ('foam="xps 35",', 'foam="pu 40", hot_wire=True,'))
    assert ("hot-wire", "stop") in [(f.code, f.severity) for f in work.found(("resin",))]


def test_no_mould_is_told_of_where_none_is_taken() -> None:
    """The main demo is the part itself: its draft is nobody's business."""
    assert tail().taken is None
    assert not tail().found(("mould",))


def test_foam_behind_the_plate_is_measured(tmp_path: Path) -> None:
    """A pocket in the thin end of a scoop would leave little; the tail's leaves the whole length."""
    assert "thin-floor" not in [f.code for f in tail().findings]
    text = (RECIPES / "sidecar_tail.py").read_text(encoding="utf-8")
    assert "Recess(" in text
    deep = edited(
        tmp_path,
        ('name="number plate", panel="rear", y=0.0, z=(stern_height - stern_radius) / 2, plate=plate,',
         'name="tray", panel="deck", x=300.0, across=0.0, width=200.0, height=100.0,'),
        ("clearance=3.0, depth", "depth"),
        ("plate_depth=12.0", "plate_depth=293.0"),
        ("draft_deg=5.0, floor_radius", "draft_deg=0.5, corner_radius=12.0, floor_radius"),
    )  # fmt: skip
    (finding,) = [f for f in deep.found(("resin",)) if f.code == "thin-floor"]
    top = 320.0 - (320.0 - 270.0) * 300.0 / 900.0  # the deck over x = 300, near enough
    assert "floor of 'tray'" in finding.where
    assert float(finding.message.split()[0]) == pytest.approx(top - 293.0 - 1.9, abs=6.0)


def test_unknown_words_are_refused_with_the_nearest(tmp_path: Path) -> None:
    """Cloth, foam and zone."""
    for old, new, word in (
        ('cloth="cloth 280"', 'cloth="cloth 290"', "cloth 280"),
        ('foam="xps 35"', 'foam="xps 36"', "xps 35"),
        ('name="first skin"', 'name="first skin", zone="dekc"', "deck"),
    ):
        with pytest.raises(PlugError) as caught:
            _ = edited(tmp_path, (old, new)).layup
        assert word in caught.value.remedy
        assert caught.value.where.startswith("sidecar_tail.py")


def test_patterns_are_few_and_every_piece_is_cut_by_one() -> None:
    """Counted by hand: six zones and four plies are 24 pieces; the left side is the right one turned over, so five patterns.

    At the seam of side and deck (A-B) laps begin 30 mm from it for plies 1 and 2, 60 mm for 3 and 4, on one
    side and the other by turns, and are 50 mm wide.
    """
    work = tail()
    whole = [(one.pattern.name, len(one.pieces), len(one.turned)) for one in work.drawn_patterns]
    assert whole == [
        ("A right side", 4, 4), ("B deck", 4, 0), ("D rear", 4, 0), ("E number plate", 4, 0),
        ("F joint with the tub flange", 4, 0),
    ]  # fmt: skip
    assert sorted(drawn(work, cloth_drawings)) == [
        "cloth/a-right-side", "cloth/b-deck", "cloth/d-rear", "cloth/e-number-plate",
        "cloth/f-joint-with-the-tub-flange",
    ]  # fmt: skip
    assert sorted(drawn(work, laid_drawings)) == [
        "cloth/map", "cloth/roll-biaxial-300", "cloth/roll-cloth-200", "cloth/roll-cloth-280",
    ]  # fmt: skip
    cloth = work.summary["cloth"]
    (seam,) = [one for one in cloth["seams"] if one["name"] == "A-B"]
    assert [(lap["first_mm"], lap["second_mm"]) for lap in seam["laps"]] == [
        (80.0, -30.0), (-30.0, 80.0), (110.0, -60.0), (-60.0, 110.0),
    ]  # fmt: skip
    codes = [[name.partition(" ")[0] for name in one["pieces"]] for one in cloth["order"]]
    assert codes == [[f"{letter}{ply}" for letter in "ABCDEF"][:: -1 if ply % 2 else 1] for ply in (1, 2, 3, 4)]
    asked = asking("number plate")
    own = {one.pattern.name: [p.ply for p in one.pieces] for one in asked.drawn_patterns if not one.is_whole}
    assert own == {"E1 number plate": [1, 3], "E2 number plate": [2], "E4 number plate": [4]}
    files = {*laid_drawings(asked), *cloth_drawings(asked)}
    assert {"cloth/shear-number-plate", "cloth/e1-number-plate"} <= files
    with pytest.raises(PlugError, match="patterns"):
        _ = asking("number plates").findings


def test_a_net_is_laid_only_where_the_weave_may_shear() -> None:
    """The curvature of sides, deck and rear calls for less than 27 of 30 degrees: the pocket is left."""
    work = tail()
    assert {net.patch.name for net in present(work.drape).laid} == {"number plate"}


def test_one_page_tells_the_laminator_all() -> None:
    """Map, order, sizes and laps are on one page of the pack, the rolls on the next, pieces lettered."""
    work = tail()
    drawings = drawn(work, laid_drawings)
    job = PackJob(summary=work.summary, drawings=drawings, paper=paper_of("A4"))
    sheets, _, _ = pack_pages(job)
    said = [[label.text for label in sheet.drawing.labels] for sheet in sheets]
    (first,) = [k for k, words in enumerate(said) if "Cloth: which piece goes where" in words]
    words = " | ".join(said[first])
    assert all(word in words for word in ("Lay ply 4: A4, B4, C4, D4, E4, F4", "A-B", "D-E", "A 110, B -60"))
    sizes = [
        f"{piece['length_mm']:.0f} x {piece['width_mm']:.0f}"
        for roll in work.summary["cloth"]["rolls"]
        for piece in roll["pieces"]
    ]
    assert len(sizes) == 30 and all(size in words for size in sizes)
    codes = {f"{letter}{ply}" for letter in "ABCDEF" for ply in (1, 2, 3, 4)}
    assert codes <= {word.rstrip("ab") for word in said[first + 1]}


def test_cloth_is_on_the_full_size_paper_and_in_the_shopping(tmp_path: Path) -> None:
    """The paper lists the patterns of cloth; the shopping list has all that is used up, as yet without prices."""
    made = build(
        RECIPES / "sidecar_tail.py",
        {"paper": 914.0},
        out=tmp_path / "out",
        kinds=("pdf", "csv"),
        paper=("cloth",),
        shelf=defaults_of("sidecar_tail"),
    )
    printed = {row["file"] for one in made.summary["paper"]["files"] for row in one["drawings"]}
    assert printed == {
        "a-right-side", "b-deck", "d-rear", "e-number-plate", "f-joint-with-the-tub-flange",
    }  # fmt: skip
    groups = {row["group"] for row in made.summary["shopping"]}
    assert groups == {"foam", "cloth", "resin", "hardener", "adhesive", "filler", "board"}
    assert (tmp_path / "out" / "shopping.csv").is_file()
    assert made.summary["cost"]["total"] == 0.0
    assert len(made.summary["cost"]["without_price"]) == len(made.summary["shopping"])


def test_tables_tell_what_the_summary_tells() -> None:
    """Each number of a CSV file is the summary's, to half of its own last digit: read back by Python's reader."""
    work = tail()
    summary, files = work.summary, csv_files(work)
    sheets = summary["sheets"]["sheets"]
    told: dict[str, tuple[list[dict[str, Any]], dict[str, str]]] = {
        "layers/pieces.csv": (summary["pieces"], {}),
        "layers/pins.csv": ([pin for one in summary["pins"]["contacts"] for pin in one["pins"]], {}),
        "sheets/cut-list.csv": ([piece for sheet in sheets for piece in sheet["pieces"]], {}),
        "sheets/leftovers.csv": ([left for sheet in sheets for left in sheet["leftovers"]], {}),
        "cloth/ply-sheet.csv": (
            summary["schedule"]["plies"],
            {
                "g/m2": "weight_g_m2",
                "bias deg": "bias_deg",
                "mm": "thickness_mm",
                "resin kg/m2": "resin_kg_m2",
            },
        ),
        "cloth/mixing-sheet.csv": (
            [
                mix | {f"batch {key}": value for key, value in mix["batch"].items()}
                for mix in summary["resin"]["mixes"]
            ],
            {"m2": "area_m2", "batch m2": "batch area_m2", "batch min": "batch minutes", "batches": "batches"}
            | {f"{pot}{of} g": f"{pot}{of}_kg" for pot in ("", "batch ") for of in ("resin", "hardener")}
            | {f"batch {of} ml": f"batch {of}_ml" for of in ("resin", "hardener")},
        ),
        "shopping.csv": (summary["shopping"], {}),
    }
    compared = 0
    for path, (figures, keys) in told.items():
        rows = list(csv.DictReader(io.StringIO(files[path])))[: len(figures)]
        assert len(rows) == len(figures) > 0, path
        for row, figure in zip(rows, figures, strict=True):
            for head, text in row.items():
                value = figure.get(keys.get(head, head))
                if text and isinstance(value, int | float):
                    half = 0.5 * 10.0 ** -len(text.partition(".")[2])
                    scale = 1e3 if head.endswith(" g") else 1.0
                    assert float(text) == pytest.approx(scale * value, abs=half * 1.001, rel=1e-8), (
                        path,
                        head,
                    )
                    compared += 1
    assert compared > 150
