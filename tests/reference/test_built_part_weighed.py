"""What a built folder says of cloth, mass, glue and packs, worked again from its drawings alone.

Nothing of the program but its built folder is used: outlines are read by ezdxf (MIT), areas and distances are
shapely's (BSD), bodies are measured by trimesh (MIT), and the arithmetic is written below. Densities: filler
650 kg/m3 and hardwood 650 kg/m3 from memory (M), foam 35 kg/m3 by its grade (Cs), epoxy glue 0.3 kg/m2 common
practice (P). Tolerances: arcs and chords of 0.1 mm round pieces of 0.1 to 0.5 m2, 2e-3 at most.
"""

from __future__ import annotations

import itertools
import json
import math
from collections.abc import Iterator
from functools import cache, reduce
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

import ezdxf
import ezdxf.path
import pytest
import shapely
import trimesh

from plugs.build import build
from plugs.work import opened

RECIPE = '''"""A lid over foam that is hollowed and stays; a narrow roll, a ply on the bias."""
from plugs import (
    CLOTHS, RESINS, Corner, End, Hollow, Laps, Plug, Ply, Schedule, Skin, Stack, Station, Stock,
    from_data_sheet,
)


def lid(trim=0.0, bias_deg=45.0):
    def station(x):
        return Station(x=x, corners={"foot": Corner(250.0, 0.0), "shoulder": Corner(230.0, 200.0, 20.0)})

    return Plug(
        name="Lid", panels=("floor", "side", "deck"), stations=(station(0.0), station(700.0)),
        front=End(radius=15.0, sharp=("floor",)), rear=End(radius=15.0, sharp=("floor",)),
        skin=Skin(filler=0.8, no_laminate=("floor",)),
        schedule=Schedule(
            plies=(
                Ply(cloth=from_data_sheet(CLOTHS["cloth 280"], roll_width=500.0,
                                          packs={1.0: 7.0, 10.0: 52.0})),
                Ply(cloth="cloth 200", zone=("deck", "side"), bias_deg=bias_deg),
                Ply(cloth="peel ply 85", zone="deck"),
            ),
            resin=from_data_sheet(
                RESINS["epoxy"], ratio_by_mass=(100.0, 40.0), pot_life_min=40.0,
                packs={0.25: 9.0, 0.4: 11.0, 1.0: 21.0},
            ),
        ),
        laps=Laps(trim=trim), patterns="all", foam="xps 35", adhesive="epoxy glue",
        hollow=Hollow(wall=30.0, bridge=40.0),
        stack=Stack(axis="z", thicknesses=(40.0,)),
        stock=(Stock(width=1250.0, height=600.0, thickness=40.0),),
    )
'''


def recipe() -> Path:
    """Return the recipe in a folder of its own."""
    path = Path(mkdtemp()) / "lid.py"
    path.write_text(RECIPE, encoding="utf-8")
    return path


@cache
def folder() -> Path:
    """Return the folder of the lid, built."""
    path = recipe()
    return build(path, {}, out=path.with_name("out"), kinds=("dxf", "stl", "csv")).folder


@cache
def summary() -> dict[str, Any]:
    """Return its summary."""
    text = (folder() / "summary.json").read_text(encoding="utf-8")
    return dict(json.loads(text))


def shapes(path: str, dxf_layer: str) -> list[shapely.Polygon]:
    """Return the closed outlines on a layer of a drawing, in mm."""
    drawing = ezdxf.readfile(folder() / path)
    assert drawing.header["$INSUNITS"] == 4
    return [
        shapely.Polygon([(v.x, v.y) for v in ezdxf.path.make_path(entity).flattening(0.01)])
        for entity in drawing.modelspace().query(f'LWPOLYLINE[layer=="{dxf_layer}"]')
    ]


def pieces() -> Iterator[tuple[dict[str, Any], float]]:
    """Return every piece on the rolls with its area by the drawing of its roll, m2."""
    for roll in summary()["cloth"]["rolls"]:
        (path,) = roll["files"]
        outlines = shapes(path, "CUT_LINE")
        assert len(outlines) == len(roll["pieces"])
        for piece, outline in zip(roll["pieces"], outlines, strict=True):
            yield piece, 1e-6 * outline.area


def share(name: str) -> dict[str, Any]:
    """Return a share of the part's mass."""
    (found,) = [share for share in summary()["part"]["shares"] if share["name"] == name]
    return dict(found)


def foam_and_voids() -> tuple[trimesh.Trimesh, float, float]:
    """Return the foam's mesh, volume of the voids, m3, and their moment about z = 0, m3 mm."""
    volume = moment = 0.0
    for layer in summary()["layers"]:
        (path,) = [name for name in layer["files"] if name.endswith(".dxf")]
        void = 1e-9 * sum(v.area for v in shapes(path, "HOLLOW")) * (layer["to_mm"] - layer["from_mm"])
        volume += void
        moment += void * 0.5 * (layer["to_mm"] + layer["from_mm"])
    return trimesh.load_mesh(folder() / "solid" / "foam.stl"), volume, moment


def clothed_m2() -> float:
    """Return the foam's surface without its floor, m2."""
    foam = foam_and_voids()[0]
    is_floor = (foam.face_normals[:, 2] < -0.999) & (foam.triangles[:, :, 2].max(axis=1) < 1e-3)
    return 1e-6 * float(foam.area_faces[~is_floor].sum())


def test_every_piece_has_the_area_of_its_drawing() -> None:
    """On the roll, in a drawing of its own, as patterns of all zones are asked for, and in the summary."""
    found = list(pieces())
    assert {piece["ply"] for piece, _ in found} == {1, 2, 3}
    assert any(piece["name"].endswith(" b") for piece, _ in found)  # the narrow roll takes breadths
    for piece, area in found:
        assert piece["area_m2"] == pytest.approx(area, rel=2e-3)
        (path,) = [name for name in piece["files"] if name.endswith(".dxf")]
        assert sum(p.area for p in shapes(path, "CUT_LINE")) == pytest.approx(1e6 * area, rel=1e-6)


def test_pieces_on_a_roll_lie_within_it_and_apart() -> None:
    """Within its width and the length to buy, and 5 mm or more from each other."""
    for roll in summary()["cloth"]["rolls"]:
        outlines = shapes(roll["files"][0], "CUT_LINE")
        within = shapely.box(0.0, 0.0, 1000.0 * roll["length_m"], roll["width_mm"]).buffer(1e-3)
        assert all(within.covers(outline) for outline in outlines)
        gaps = [a.distance(b) for a, b in itertools.combinations(outlines, 2)]
        assert min(gaps, default=math.inf) >= 5.0
        bought = 1e3 * roll["length_m"] * roll["width_mm"]
        assert roll["yield_ratio"] == pytest.approx(sum(o.area for o in outlines) / bought, rel=2e-3)


def test_part_weighs_what_its_folder_says_goes_into_it() -> None:
    """Cloth by its patterns, the coat that the foam drinks, filler, foam less voids, glue, pins."""
    plies = {ply["number"]: ply for ply in summary()["schedule"]["plies"]}
    cloth = sum(
        area * (plies[piece["ply"]]["glass_kg_m2"] + plies[piece["ply"]]["resin_kg_m2"])
        for piece, area in pieces()
        if plies[piece["ply"]]["stays"]
    )
    seal = clothed_m2() * summary()["schedule"]["seal_kg_m2"]
    filler = 0.8e-3 * clothed_m2() * 650.0
    foam, voids_m3, _ = foam_and_voids()
    left = 35.0 * (1e-9 * foam.volume - voids_m3)
    glue = (
        0.3e-6
        * sum(
            reduce(
                shapely.symmetric_difference, shapes(path, "GLUE_TOP_FACE")
            ).area  # rings inside rings are holes
            for layer in summary()["layers"][:-1]
            for path in layer["files"]
            if path.endswith(".dxf")
        )
    )
    rows = (folder() / "layers" / "pins.csv").read_text(encoding="utf-8").splitlines()[1:]
    pins = sum(650e-9 * math.pi / 4.0 * 6.0**2 * float(row.split(",")[10]) for row in rows)
    assert voids_m3 > 0.3e-9 * foam.volume  # or the hollow would prove nothing
    assert share("xps 35")["mass_kg"] == pytest.approx(left, rel=2e-3)
    assert share("epoxy filler")["mass_kg"] == pytest.approx(filler, rel=2e-3)
    assert share("epoxy glue")["mass_kg"] == pytest.approx(glue, rel=2e-3)
    assert share("pins")["mass_kg"] == pytest.approx(pins, rel=2e-3)
    whole = cloth + seal + filler + left + glue + pins
    part = summary()["part"]
    assert part["mass_kg"] == pytest.approx(whole, rel=2e-3)
    assert part["least_mass_kg"] < whole < part["most_mass_kg"]


def test_part_balances_where_its_shares_do() -> None:
    """The centre by leverage of the shares; foam by its mesh less the voids; the lid is even."""
    part = summary()["part"]
    for axis in range(3):
        moment = sum(s["mass_kg"] * s["centroid_mm"][axis] for s in part["shares"])
        assert part["centre_of_gravity_mm"][axis] == pytest.approx(moment / part["mass_kg"], abs=1e-3)
    foam, voids_m3, moment = foam_and_voids()
    z = (1e-9 * foam.volume * foam.center_mass[2] - moment) / (1e-9 * foam.volume - voids_m3)
    assert share("xps 35")["centroid_mm"][2] == pytest.approx(z, abs=0.1)
    assert part["centre_of_gravity_mm"][0] == pytest.approx(350.0, abs=2.0)
    assert share("epoxy filler")["centroid_mm"][1] == pytest.approx(0.0, abs=0.5)


def test_trim_is_cut_off_again() -> None:
    """30 mm more along the foot is mixed, bought and laid, and weighs nothing in the part."""
    work = opened(recipe(), {"trim": 30.0})
    assert work.part is not None and work.resin is not None
    assert work.part.mass_kg == pytest.approx(summary()["part"]["mass_kg"], rel=2e-3)
    mixed = work.resin.mixed_kg
    foot_m = 2.0 * (0.7 + 0.5)
    (first, *_) = summary()["schedule"]["plies"]
    least = 0.9 * 0.03 * foot_m * first["resin_kg_m2"]
    assert mixed > summary()["resin"]["mixed_kg"] + least


def test_resin_wets_every_piece_that_is_cut() -> None:
    """Each ply's area in the mixing sheet is that of its pieces."""
    for mix in summary()["resin"]["mixes"]:
        area = sum(area for piece, area in pieces() if piece["ply"] == mix["ply"])
        assert mix["area_m2"] == pytest.approx(area or clothed_m2(), rel=2e-3)


def test_glue_to_buy_is_that_of_the_adhesive() -> None:
    """0.3 kg to the m2 of the glued outlines: that of epoxy glue."""
    (bought,) = [line for line in summary()["shopping"] if line["group"] == "adhesive"]
    assert bought["needed"] == pytest.approx(share("epoxy glue")["mass_kg"], rel=1e-6)
    assert summary()["glue"]["coverage_g_m2"] == pytest.approx(300.0)


def test_no_cheaper_packs_hold_what_is_needed() -> None:
    """Whole packs that are enough, and by trying every combination none that costs less."""
    prices = {
        "epoxy": {0.25: 9.0, 0.4: 11.0, 1.0: 21.0},
        "cloth 280": {1.0: 7.0, 10.0: 52.0},
    }
    for line in summary()["shopping"]:
        packs = line["packs"]
        assert line["bought"] == pytest.approx(sum(p["count"] * p["size"] for p in packs))
        assert line["bought"] >= line["needed"] - 1e-9
        if line["name"] in prices:
            sizes = prices[line["name"]]
            most = [math.ceil(line["needed"] / size) for size in sizes]
            ways = itertools.product(*(range(n + 1) for n in most))
            cheapest = min(
                sum(n * price for n, price in zip(way, sizes.values(), strict=True))
                for way in ways
                if sum(n * size for n, size in zip(way, sizes, strict=True)) >= line["needed"]
            )
            assert line["price"] == pytest.approx(cheapest)
