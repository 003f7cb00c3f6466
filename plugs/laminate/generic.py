"""Generic materials, each value with its label and source; what came with yours is better: `from_data_sheet`.

No price is known here. Labels are those of `plugs.laminate.materials.LABELS`.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

from plugs.laminate.choosing import oz_per_yd2
from plugs.laminate.materials import Adhesive, Barrier, Board, Cloth, Filler, Foam, Hardener, Resin

_PS_SERVICE: Final = "confirmed: ASTM C578 (2016, 2022), scope: -53.9 to +73.9 C"
_PS_RESIN: Final = "secondary: two suppliers; styrene dissolves polystyrene"
_PS_WIRE: Final = "secondary: encyclopaedia and suppliers; with extraction"
_SEAL: Final = "practice: what a scraped first coat takes"
_LEAST: Final = "practice: what stays whole in the hand"
_SHEETS: Final = {1.0: None}


def _polystyrene(name: str, density_kg_m3: float, grade: str, seal_kg_m2: float, least: float) -> Foam:
    """Return a polystyrene foam of a grade of ASTM C578."""
    return Foam(
        name=name,
        kind="polystyrene",
        density_kg_m3=density_kg_m3,
        service_c=73.9,
        hot_wire="yes",
        dissolved_by=("polyester", "vinylester"),
        seal_kg_m2=seal_kg_m2,
        least_thickness=least,
        packs=_SHEETS,
        sources={
            "density_kg_m3": f"secondary: least of {grade}, table of ASTM C578-10 in a maker's bulletin",
            "service_c": _PS_SERVICE,
            "hot_wire": _PS_WIRE,
            "dissolved_by": _PS_RESIN,
            "seal_kg_m2": _SEAL,
            "least_thickness": _LEAST,
        },
    )


def _other_foam(name: str, kind: str, density_kg_m3: float, words: str, wire: str) -> Foam:
    """Return a foam that neither resin dissolves and no hot wire may meet."""
    return Foam(
        name=name,
        kind=kind,
        density_kg_m3=density_kg_m3,
        hot_wire="never",
        seal_kg_m2=0.3,
        least_thickness=12.0,
        packs=_SHEETS,
        sources={
            "density_kg_m3": f"memory: {words}",
            "hot_wire": wire,
            "dissolved_by": "memory: polyester, vinylester and epoxy are all used on it",
            "seal_kg_m2": _SEAL,
            "least_thickness": _LEAST,
        },
    )


_PU_WIRE: Final = (
    "secondary: heated over about 200 C it gives off isocyanates, hydrogen cyanide, carbon monoxide"
)

FOAMS: Final = MappingProxyType(
    {
        foam.name: foam
        for foam in (
            _polystyrene("eps 15", 15.0, "type I", 0.3, 20.0),
            _polystyrene("eps 18", 18.0, "type VIII", 0.3, 20.0),
            _polystyrene("eps 22", 22.0, "type II", 0.3, 15.0),
            _polystyrene("eps 29", 29.0, "type IX", 0.3, 15.0),
            _polystyrene("xps 25", 25.0, "type IV", 0.15, 12.0),
            _polystyrene("xps 29", 29.0, "type VI", 0.15, 12.0),
            _polystyrene("xps 35", 35.0, "type VII", 0.15, 12.0),
            _polystyrene("xps 48", 48.0, "type V", 0.15, 12.0),
            _other_foam("pu 40", "polyurethane", 40.0, "board of 30 to 60 kg/m3", _PU_WIRE),
            _other_foam("pir 32", "polyurethane", 32.0, "board of 30 to 60 kg/m3", _PU_WIRE),
            _other_foam("pu 100", "polyurethane", 100.0, "carving board of 50 to 700 kg/m3", _PU_WIRE),
            _other_foam("pvc 75", "pvc", 75.0, "core of 45 to 130 kg/m3", "memory: hydrogen chloride"),
        )
    }
)
"""Foams by name; the number is the density in kg/m3."""

_WEIGHT: Final = "derived: its name says its weight"
_WIDTH: Final = "practice: a usual roll; measure yours"
_GLASS: Final = "memory: E-glass 2540 to 2600, the formula of ISO 12215-5 uses 2560"


def _cloth(
    name: str,
    kind: str,
    weight_gsm: float,
    weave: str = "",
    roll_width: float = 1000.0,
    mat_ratio: float = 0.0,
) -> Cloth:
    """Return a glass cloth."""
    sources = {"weight_gsm": _WEIGHT, "roll_width": _WIDTH, "fibre_kg_m3": _GLASS}
    if mat_ratio:
        sources["mat_ratio"] = "derived: its name says both weights"
    return Cloth(
        name=name,
        kind=kind,
        weight_gsm=weight_gsm,
        weave=weave,
        roll_width=roll_width,
        mat_ratio=mat_ratio,
        sources=sources,
    )


def _peel(name: str, weight_gsm: float) -> Cloth:
    """Return a peel ply of polyamide, which takes some resin away with it."""
    words = "practice: what a scraped peel ply takes away"
    return Cloth(
        name=name,
        kind="peel ply",
        weight_gsm=weight_gsm,
        weave="plain",
        fibre_kg_m3=1140.0,
        resin_uptake_kg_m2=0.1,
        roll_width=1000.0,
        sources={
            "weight_gsm": _WEIGHT,
            "roll_width": _WIDTH,
            "fibre_kg_m3": "memory: polyamide 6.6",
            "resin_uptake_kg_m2": words,
        },
    )


CLOTHS: Final = MappingProxyType(
    {
        cloth.name: cloth
        for cloth in (
            _cloth("tissue 30", "tissue", 30.0),
            _cloth("mat 225", "mat", 225.0),
            _cloth("mat 300", "mat", 300.0),
            _cloth("mat 450", "mat", 450.0),
            _cloth("mat 600", "mat", 600.0),
            _cloth("woven roving 300", "woven roving", 300.0, "plain"),
            _cloth("woven roving 400", "woven roving", 400.0, "plain"),
            _cloth("woven roving 600", "woven roving", 600.0, "plain"),
            _cloth("woven roving 800", "woven roving", 800.0, "plain"),
            _cloth("cloth 80", "cloth", 80.0, "plain"),
            _cloth("cloth 160", "cloth", 160.0, "plain"),
            _cloth("cloth 200", "cloth", 200.0, "twill"),
            _cloth("cloth 280", "cloth", 280.0, "twill"),
            _cloth("cloth 390", "cloth", 390.0, "twill"),
            _cloth("cloth 4 oz", "cloth", oz_per_yd2(4.0), "plain", roll_width=1270.0),
            _cloth("cloth 6 oz", "cloth", oz_per_yd2(6.0), "plain", roll_width=1270.0),
            _cloth("cloth 10 oz", "cloth", oz_per_yd2(10.0), "plain", roll_width=1270.0),
            _cloth("biaxial 300", "stitched", 300.0, roll_width=1270.0),
            _cloth("biaxial 450", "stitched", 450.0, roll_width=1270.0),
            _cloth("biaxial 600", "stitched", 600.0, roll_width=1270.0),
            _cloth("biaxial 17 oz", "stitched", oz_per_yd2(17.0), roll_width=1270.0),
            _cloth("unidirectional 300", "unidirectional", 300.0, roll_width=300.0),
            _cloth("combination 500/300", "combination", 800.0, "plain", mat_ratio=0.375),
            _peel("peel ply 64", 64.0),
            _peel("peel ply 85", 85.0),
        )
    }
)
"""Cloths by name; the number is the weight in g/m2, or in oz/yd2 where it says so."""

_DOSE: Final = (
    "secondary: 1 to 2 % in one supplier's text; others say 1 to 3 % and 1 to 4 %, so the narrowest is taken"
)
_BATCH: Final = "practice: a mass of resin heats itself; smaller when it is warm"
_WET: Final = "practice: 2 to 3 plies of mat, about 3 mm, at a time"
_PACKS: Final = {1.0: None, 5.0: None, 25.0: None}

RESINS: Final = MappingProxyType(
    {
        "polyester": Resin(
            name="polyester",
            kind="polyester",
            density_kg_m3=1100.0,
            cured_kg_m3=1200.0,
            hardens_by="percent",
            percent_range=(1.0, 2.0),
            hardener="mekp",
            pot_life_min=15.0,
            pot_life_c=20.0,
            largest_batch_kg=1.0,
            wet_limit=3.0,
            least_c=18.0,
            peak_c=65.0,
            packs=_PACKS,
            sources={
                "density_kg_m3": "memory: liquid about 1100",
                "cured_kg_m3": "memory: 1100 to 1250; the formula of ISO 12215-5 uses 1200",
                "percent_range": _DOSE,
                "pot_life_min": "secondary: 15 to 20 min at 20 C with 2 %, supplier's page; the shorter",
                "largest_batch_kg": _BATCH,
                "wet_limit": _WET,
                "least_c": "secondary: not under about 65 F, supplier's page",
                "peak_c": "secondary: on a plug it can reach about 150 F (65 C) or more, trade article",
            },
        ),
        "vinylester": Resin(
            name="vinylester",
            kind="vinylester",
            density_kg_m3=1050.0,
            cured_kg_m3=1130.0,
            hardens_by="percent",
            percent_range=(1.0, 2.0),
            hardener="mekp",
            largest_batch_kg=1.0,
            wet_limit=3.0,
            least_c=18.0,
            peak_c=65.0,
            packs=_PACKS,
            sources={
                "density_kg_m3": "memory: liquid about 1050",
                "cured_kg_m3": "memory: 1120 to 1150; the formula of ISO 12215-5 uses 1200, 4 % thinner",
                "percent_range": "practice: as for polyester; some kinds want another hardener",
                "largest_batch_kg": _BATCH,
                "wet_limit": _WET,
                "least_c": "practice: as for polyester",
                "peak_c": "practice: as for polyester, and often warmer",
            },
        ),
        "epoxy": Resin(
            name="epoxy",
            kind="epoxy",
            density_kg_m3=1150.0,
            cured_kg_m3=1150.0,
            hardens_by="ratio",
            hardener="amine",
            largest_batch_kg=0.4,
            wet_limit=2.0,
            least_c=15.0,
            packs=_PACKS,
            sources={
                "density_kg_m3": "memory: resin alone 1100 to 1200",
                "cured_kg_m3": "memory: 1100 to 1180; the formula of ISO 12215-5 uses 1200, 3 % thinner",
                "largest_batch_kg": _BATCH,
                "wet_limit": "practice: thin, as the data sheet says",
                "least_c": "practice: the data sheet decides",
            },
        ),
    }
)
"""Resins by name. Ratio and pot life of an epoxy stand on its sheet alone."""

GELCOATS: Final = MappingProxyType(
    {
        "tooling gelcoat": Resin(
            name="tooling gelcoat",
            kind="vinylester",
            density_kg_m3=1200.0,
            cured_kg_m3=1300.0,
            hardens_by="percent",
            percent_range=(1.0, 2.0),
            hardener="mekp",
            largest_batch_kg=1.0,
            wet_limit=0.5,
            least_c=18.0,
            packs=_PACKS,
            sources={
                "density_kg_m3": "memory: filled and thixotropic, 1100 to 1300",
                "cured_kg_m3": "memory: with what it is filled with",
                "percent_range": "practice: as for polyester; the sheet often says 2",
                "wet_limit": "practice: 0.4 to 0.5 mm a coat",
                "least_c": "practice: as for polyester",
            },
        ),
        "epoxy tooling coat": Resin(
            name="epoxy tooling coat",
            kind="epoxy",
            density_kg_m3=1400.0,
            cured_kg_m3=1450.0,
            hardens_by="ratio",
            wet_limit=0.5,
            packs=_PACKS,
            sources={
                "density_kg_m3": "memory: filled, 1300 to 1600",
                "cured_kg_m3": "memory: with what it is filled with",
                "wet_limit": "practice: 0.4 to 0.5 mm a coat",
            },
        ),
    }
)
"""First coats of moulds by name: brushed in two coats, no brand's."""

HARDENERS: Final = MappingProxyType(
    {
        "mekp": Hardener(
            name="mekp",
            kind="peroxide",
            density_kg_m3=1130.0,
            packs={0.1: None, 0.25: None, 1.0: None},
            sources={"density_kg_m3": "memory: 1100 to 1170 for 30 to 60 % in phthalate"},
        ),
        "amine": Hardener(
            name="amine",
            kind="amine",
            density_kg_m3=1000.0,
            packs={0.5: None, 1.0: None, 5.0: None},
            sources={"density_kg_m3": "memory: 950 to 1050"},
        ),
    }
)
"""Hardeners by name."""

_SPREAD: Final = "practice: a thin coat on one face"

GLUES: Final = MappingProxyType(
    {
        "polyurethane glue": Adhesive(
            name="polyurethane glue", spread_kg_m2=0.15, sources={"spread_kg_m2": _SPREAD}
        ),
        "wood glue": Adhesive(name="wood glue", spread_kg_m2=0.2, sources={"spread_kg_m2": _SPREAD}),
        "epoxy glue": Adhesive(name="epoxy glue", spread_kg_m2=0.3, sources={"spread_kg_m2": _SPREAD}),
        "contact glue": Adhesive(
            name="contact glue",
            spread_kg_m2=0.3,
            dissolves=("polystyrene",),
            sources={
                "spread_kg_m2": "practice: both faces",
                "dissolves": "practice: its solvent, unless the label names polystyrene",
            },
        ),
    }
)
"""Glues for foam by name."""

FILLERS: Final = MappingProxyType(
    {
        "polyester filler": Filler(
            name="polyester filler",
            density_kg_m3=1750.0,
            dissolves=("polystyrene",),
            sources={
                "density_kg_m3": "memory: body filler 1600 to 1900",
                "dissolves": "secondary: it holds styrene, as polyester resin does",
            },
        ),
        "epoxy filler": Filler(
            name="epoxy filler",
            density_kg_m3=650.0,
            sources={"density_kg_m3": "memory: epoxy with hollow glass spheres 500 to 800"},
        ),
        "gypsum filler": Filler(
            name="gypsum filler",
            density_kg_m3=1000.0,
            sources={"density_kg_m3": "memory: light filler, dry 800 to 1200"},
        ),
    }
)
"""Fillers by name."""

_BOARD: Final = {
    "thickness": "derived: its name says it",
    "density_kg_m3": "memory: dry board",
    "width": "memory: a usual sheet, 8 x 4 ft",
    "height": "memory: a usual sheet, 8 x 4 ft",
}
BOARDS: Final = MappingProxyType(
    {
        f"{kind} {thickness:g}": Board(
            name=f"{kind} {thickness:g}", thickness=thickness, density_kg_m3=density_kg_m3, sources=_BOARD
        )
        for kind, density_kg_m3, thicknesses in (
            ("plywood", 600.0, (3.0, 4.0, 6.0, 12.0)),
            ("mdf", 750.0, (3.0, 6.0, 18.0, 25.0)),
        )
        for thickness in thicknesses
    }
)
"""Boards by name; the number is the thickness in mm."""

_METAL: Final = {
    "thickness": "derived: its name says it",
    "density_kg_m3": "memory: handbooks: aluminium alloys 2660 to 2800, steel 7850, stainless 7900",
    "width": "memory: a usual sheet",
    "height": "memory: a usual sheet",
}
METALS: Final = MappingProxyType(
    {
        f"{kind} {thickness:g}": Board(
            name=f"{kind} {thickness:g}",
            thickness=thickness,
            density_kg_m3=density_kg_m3,
            width=2000.0,
            height=1000.0,
            sources=_METAL,
        )
        for kind, density_kg_m3 in (("aluminium", 2700.0), ("steel", 7850.0), ("stainless steel", 7900.0))
        for thickness in (1.5, 2.0, 3.0, 5.0)
    }
)
"""Metal plates by name; the number is the thickness in mm."""

BARRIERS: Final = MappingProxyType(
    {
        "epoxy coats": Barrier(
            name="epoxy coats",
            spread_kg_m2=0.4,
            sources={
                "spread_kg_m2": "practice: two coats, cured",
                "stops": "practice: when it has no pinhole",
            },
        ),
        "foil tape": Barrier(
            name="foil tape",
            spread_kg_m2=0.15,
            sources={
                "spread_kg_m2": "practice: a layer, laps included",
                "stops": "practice: when laps are tight",
            },
        ),
    }
)
"""Barriers between foam and resin by name: each is tried on an offcut first."""
