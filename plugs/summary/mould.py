"""What is told of a mould that is taken from the plug: parts and pulls, draft, parting, flanges, laminate."""

from __future__ import annotations

from typing import Any, Final

from plugs.files.written import FileList
from plugs.ground.errors import present
from plugs.mould.drafts import FaceDraft
from plugs.mould.findings import pull_words
from plugs.mould.making import COATS, MadePart
from plugs.stages.worked import Worked
from plugs.summary.foam import sheet_figures
from plugs.summary.laminate import PLIES, cost, resin, shopping
from plugs.summary.table import Figure, Table

FACES: Final = Table[FaceDraft](
    Figure("part", lambda face: face.part, "part"),
    Figure("place", lambda face: face.place, "place"),
    Figure("area_m2", lambda face: 1e-6 * face.area_mm2, "m2"),
    Figure("worst_draft_deg", lambda face: face.worst_deg, "least draft deg"),
    Figure("worst_at_mm", lambda face: [float(value) for value in face.at]),
    Figure("under_m2", lambda face: 1e-6 * face.under_mm2, "too steep m2"),
    Figure("locked_m2", lambda face: 1e-6 * face.locked_mm2, "locks m2"),
    Figure("hidden_m2", lambda face: 1e-6 * face.hidden_mm2, "hidden m2"),
    Figure("along_pull_mm", lambda face: face.depth),
)
"""The draft of each place in each part of the mould."""

MADE: Final = Table[MadePart](
    Figure("name", lambda part: part.name),
    Figure("surface_m2", lambda part: part.surface_m2),
    Figure("flange_m2", lambda part: part.flange_m2),
    Figure("thickness_mm", lambda part: part.thickness),
    Figure("gelcoat_kg", lambda part: part.gelcoat_kg),
    Figure("mass_kg", lambda part: part.mass_kg),
)
"""The parts of the mould, made."""


def mould(work: Worked, files: FileList) -> dict[str, Any] | None:
    """Return what is told of the mould; None without one."""
    taken, making = work.taken, work.making
    if taken is None or making is None:
        return None
    words, sheets = taken.parted.mould, work.flange_sheets
    parts = zip(words.parts, making.parts, strict=True)
    gelcoat = None
    if making.gelcoat is not None:
        hardener = making.gelcoat_hardener
        gelcoat = {
            "name": making.gelcoat.name,
            "coats": COATS,
            "needed_kg": making.gelcoat_kg,
            "hardener": None if hardener is None else hardener.name,
            "hardener_kg": making.gelcoat_hardener_kg,
        }
    return {
        "parting": words.parting,
        "parting_length_mm": taken.parted.length,
        "draft_wanted_deg": words.draft_deg,
        "parts": [
            {"pull": pull_words(part), "way": [float(v) for v in part.way], "takes": part.panels}
            | MADE.told(made)
            for part, made in parts
        ],
        "faces": [FACES.told(face) for face in taken.drafts.faces],
        "flange_width_mm": words.flange_width,
        "flanges": [
            {
                "name": board.name,
                "area_m2": 1e-6 * board.area_mm2,
                "parting_mm": board.along,
                "off_flat_mm": board.off_flat,
                "holes": len(board.holes),
                "hole_mm": board.hole_diameter,
                "files": files.of(board.path),
            }
            for board in work.flanges
        ],
        "flange_board": None if sheets is None else sheets.board.name,
        "flange_outgrown": () if sheets is None else sheets.outgrown,
        "flange_sheets": []
        if sheets is None or sheets.nesting is None
        else sheet_figures(sheets.nesting, files, "templates/flange-sheet"),
        "wax_coats": words.wax_coats,
        "release_film": words.release_film,
        "gelcoat": gelcoat,
        "plies": None if making.layup is None else [PLIES.told(ply) for ply in making.layup.plies],
        "resin": None if making.layup is None else resin(making.layup, present(making.plan)),
        "area_m2": making.area_m2,
        "mass_kg": making.mass_kg,
        "shopping": shopping(making.bought),
        "cost": cost(making.bought),
    }
