"""Section of the build book on the mould: its draft, its boards, how it is laid up, and how it comes off."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from plugs.book.figures import MIDDLING
from plugs.book.html import (
    Html,
    card,
    cards,
    el,
    folded,
    joined,
    listed,
    pairs_list,
    quantities_table,
    step,
)
from plugs.book.shopping import bought_rows
from plugs.book.source import BookSource

_FACES: Final = (
    ("part", "Part"), ("place", "Face"), ("worst_draft_deg", "Least draft"),
    ("worst_at_mm", "There, x, y, z"),
    ("locked_m2", "Locks"), ("hidden_m2", "Hidden"), ("under_m2", "Too steep"), ("area_m2", "Area"),
)  # fmt: skip
_PLIES: Final = (
    ("number", "Ply"), ("cloth", "Cloth"), ("weight_g_m2", "Weight"), ("places", "Over"),
    ("thickness_mm", "Thick"), ("resin_kg_m2", "Resin"), ("label", "Figures are"),
)  # fmt: skip


def mould(source: BookSource) -> Html:
    """Return how the mould is made; empty without one."""
    told = source.summary.get("mould")
    if not told:
        return Html("")
    parts: list[object] = [source.findings("mould"), _parts(source, told), source.seen("mould")]
    faces = quantities_table("Draft, face by face", _FACES, told["faces"], source.unit)
    parts.append(folded("Draft of each face", faces))
    parts += [el("h3", "Before the first part"), listed(_before(source, told)), _boards(source, told)]
    parts += [el("h3", "The parts, one after the other"), *_laid(source, told)]
    parts += [el("h3", "Off the plug"), listed(_off(source, told))]
    parts += [el("h3", "What the mould takes"), listed(bought_rows(source, told["shopping"], told["cost"]))]
    parts.append(_weight(source, told))
    return joined(parts)


def _parts(source: BookSource, told: Mapping[str, Any]) -> Html:
    """Return the parts with their pulls, and where they meet."""
    pairs: list[tuple[object, object]] = [
        (part["name"], f"pulled {part['pull']}{_takes(part)}") for part in told["parts"]
    ]
    if told["parting"] is not None:
        loose = ", round loose pieces too" if any(part["takes"] for part in told["parts"]) else ""
        where, long = told["parting"], source.quantity("parting_length_mm", told["parting_length_mm"])
        if isinstance(where, float | int):
            where = joined(["z = ", source.quantity("z_mm", where)])
        elif not isinstance(where, str):
            where = " and ".join(where)
        pairs.append(("Parted along", joined([where, ", ", long, " in all", loose])))
    pairs.append(("Draft wanted", source.quantity("draft_wanted_deg", told["draft_wanted_deg"])))
    return pairs_list(pairs, "The mould")


def _takes(part: Mapping[str, Any]) -> str:
    """Return what a loose piece takes."""
    return f"; a loose piece, of {', '.join(part['takes'])}" if part["takes"] else ""


def _before(source: BookSource, told: Mapping[str, Any]) -> list[Html]:
    """Return how the plug is made ready."""
    whole = [source.whole]
    rows: list[tuple[str, object]] = [
        (
            "mould-plug",
            "Plug hard all through, sanded finer and finer, polished; no pinhole left",
        ),
        ("mould-draft", "Every face that locks seen to, as told above: what locks tears plug or mould"),
    ]
    if told["flanges"]:
        rows += [
            ("mould-line", "Parting marked on the plug, all along"),
            (
                "mould-boards",
                "Flange boards sealed and waxed, stood along the parting, held from behind; "
                "the corner filled with clay or wax, struck off sharp: it is the mould's edge",
            ),
        ]
    if told["wax_coats"]:
        n = told["wax_coats"]
        rows.append(
            (
                "mould-wax",
                f"Release wax, {n} coat{'s' * (n != 1)}, each buffed as its sheet says, boards too",
            )
        )
    if told["release_film"]:
        rows.append(("mould-film", "Release film (PVA) over the wax in thin coats, dry before any gelcoat"))
    return [step(name, words, what=[name, words, whole]) for name, words in rows]


def _boards(source: BookSource, told: Mapping[str, Any]) -> Html:
    """Return the flange boards, each with its drawing."""
    drawn = source.of("mould")
    paths = source.paths("mould", [board["name"] for board in told["flanges"]])
    rows = []
    for board, path in zip(told["flanges"], paths, strict=True):
        sizes = [
            ("Parting", source.quantity("parting_mm", board["parting_mm"])),
            ("Holes", joined([f"{board['holes']} of ", source.quantity("hole_mm", board["hole_mm"])])),
        ]
        if board["off_flat_mm"] > 0.5:
            sizes.append(("Off its plane", source.quantity("off_flat_mm", board["off_flat_mm"])))
        words = (el("strong", board["name"]), " cut and drilled")
        rows.append(card(step("flange", *words, what=source.shape(path)), source.picture(path), sizes=sizes))
    sheets = [source.drawn(p, one, height=MIDDLING) for p, one in drawn.items() if "/flange-sheet" in p]
    outgrown = told["flange_outgrown"]
    more = f"Larger than a board, so joined from more than one: {', '.join(outgrown)}." if outgrown else ""
    return joined([cards(rows), el("p", more) if more else None, *sheets])


def _laid(source: BookSource, told: Mapping[str, Any]) -> list[object]:
    """Return how each part is laid up, loose pieces first."""
    found: list[object] = []
    order = sorted(told["parts"], key=lambda part: not part["takes"])
    for number, part in enumerate(order):
        done = [*_against(told, part, number), *_plies(source, told, part)]
        sizes = (
            ("Surface", source.quantity("surface_m2", part["surface_m2"])),
            ("Flanges", source.quantity("flange_m2", part["flange_m2"]) if part["flange_m2"] else None),
            ("Weight", source.known(part, "mass_kg")),
        )
        found.append(pairs_list([one for one in sizes if one[1] is not None], part["name"]))
        what = [part["name"], part["surface_m2"], part["flange_m2"]]
        found.append(listed(step("mould-lay", words, what=[what, str(words)]) for words in done))
    if told["plies"] is None:
        words = "Give Mould(schedule=Schedule(plies=...)): "
        found.append(
            el("p", f"{words}plies, its weight and what to buy for it are told here.", class_="note")
        )
    else:
        table = quantities_table("Plies behind the gelcoat", _PLIES, told["plies"], source.unit)
        found.append(folded("Plies of the mould", table))
    return found


def _against(told: Mapping[str, Any], part: Mapping[str, Any], number: int) -> list[object]:
    """Return what is done before a part is laid up, after those before it."""
    if part["takes"]:
        return [
            f"{part['name']}: laid up in its place, its back flush or tapering outward, waxed when it is hard"
        ]
    before = [one for one in told["parts"] if not one["takes"]]
    if part is before[0] or not told["flanges"]:
        return []
    return [
        "Boards and clay taken off, the flange of the first part cleaned, left on the plug",
        "That flange waxed and filmed as the plug is, its edge too: the next part is laid up against it",
    ]


def _plies(source: BookSource, told: Mapping[str, Any], part: Mapping[str, Any]) -> list[object]:
    """Return the coats and plies of a part."""
    rows: list[object] = []
    gelcoat = told["gelcoat"]
    if gelcoat is not None:
        kg = source.quantity("gelcoat_kg", part["gelcoat_kg"])
        rows.append(
            joined(
                [
                    f"{gelcoat['name']} in {gelcoat['coats']} coats, ", kg,
                    " in all: the second as soon as the first is tacky, dosed as its sheet says",
                ]
            )
        )  # fmt: skip
    rows += [
        f"{ply['name']}: {ply['cloth']}, rolled out free of air, {_as_far(part)}"
        for ply in told["plies"] or ()
        if part["name"] in ply["places"]
    ]
    if len((told["resin"] or {}).get("passes") or ()) > 1:
        rows.append(
            "In passes: each sets and cools before the next, or heat prints through and pulls it out of shape"
        )
    rows.append("Left on the plug until it is hard all through, as the sheets say (days, common practice)")
    return rows


def _as_far(part: Mapping[str, Any]) -> str:
    """Return how far plies go."""
    return "onto the flange too" if part["flange_m2"] else "to its edge"


def _off(source: BookSource, told: Mapping[str, Any]) -> list[Html]:
    """Return how the parts come off, in order."""
    rows: list[object] = [
        "Stiffeners bonded on behind before anything is moved, with a soft strip under them"
    ]
    if told["flanges"]:
        rows.append(
            "Holes drilled through both flanges together; dowels in the first and last hole, then bolts"
        )
        rows.append("Edges of the flanges trimmed together (glass dust: extraction, respirator, goggles)")
        rows.append("Bolts out; wedges of plastic or wood, never steel, driven in all round by turns")
    rows += [
        f"{part['name']} pulled {part['pull']}, a little all round at a time; goggles on: it may spring"
        for part in sorted(told["parts"], key=lambda part: bool(part["takes"]))
    ]
    rows.append(
        "Film washed off with water; mould looked over, bolted together again, kept flat and out of the sun"
    )
    return [step("mould-off", words, what=[words, source.whole]) for words in rows]


def _weight(source: BookSource, told: Mapping[str, Any]) -> Html | None:
    """Return what the mould weighs."""
    if told["mass_kg"] is None:
        return None
    pairs = [
        ("Area, flanges and all", source.quantity("area_m2", told["area_m2"])),
        ("Weight, without stiffeners", source.quantity("mass_kg", told["mass_kg"])),
        ("Resin and hardener mixed in all", source.known(told["resin"], "mixed_kg")),
        ("Laid up in", source.known(told["resin"], "minutes")),
    ]
    return pairs_list(pairs, "The mould weighs")
