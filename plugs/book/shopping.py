"""Sections of the build book on what to buy, and on the mould, which has a list of its own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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
from plugs.book.source import BookSource
from plugs.ground.figures import cell, told

_SIDES: Final = ("width", "height", "thickness")
_NO_STOCK: Final = (
    "The recipe lists no stock, or an empty one: no layer is parted to fit a sheet, no piece is arranged on "
    "one, and no foam is counted here."
)

_FACES: Final = (
    ("part", "Part"), ("place", "Face"), ("worst_draft_deg", "Least draft"),
    ("worst_at_mm", "There, x, y, z"),
    ("locked_m2", "Locks"), ("hidden_m2", "Hidden"), ("under_m2", "Too steep"), ("area_m2", "Area"),
)  # fmt: skip
_PLIES: Final = (
    ("number", "Ply"), ("cloth", "Cloth"), ("weight_g_m2", "Weight"), ("places", "Over"),
    ("thickness_mm", "Thick"), ("resin_kg_m2", "Resin"), ("label", "Figures are"),
)  # fmt: skip


def shopping(source: BookSource) -> Html:
    """Return what to buy."""
    bought = source.rows("shopping")
    groups = {row.get("group") for row in bought}
    parts: list[object] = [source.findings("shopping")]
    rows = bought_rows(source, bought, source.summary.get("cost"))
    parts.append(listed([*rows, *_besides(source, groups)]))
    parts.append(_cost(source, len(bought)))
    stock = (source.summary.get("sheets") or {}).get("by_stock") or []
    columns = (
        ("stock", "Foam"), ("count", "Sheets"), ("width_mm", "Long"), ("height_mm", "Wide"),
        ("thickness_mm", "Thick"), ("price", "Price of all"), ("yield_ratio", "Used"),
    )  # fmt: skip
    told = quantities_table("Sheets of foam", columns, stock, source.unit)
    parts.append(folded("How much of the sheets is used", told))
    if not stock and source.rows("pieces"):
        parts.append(el("p", _NO_STOCK, class_="note"))
    return joined(parts)


def _cost(source: BookSource, count: int) -> Html:
    """Return what it costs, as far as prices are known."""
    cost = source.summary.get("cost") or {}
    missing = cost.get("without_price") or []
    if cost.get("total") is None or not count:
        return Html("")
    if len(missing) >= count:
        return el("p", "The recipe gives no prices.", class_="note")
    money, used = cost.get("currency") or "", cost.get("used_total")
    pairs = [
        ("Cost of what is bought", f"{cell(cost['total'], 'total')} {money}"),
        ("Cost of what is used", None if used is None else f"{cell(used, 'total')} {money}"),
        ("Without a price", ", ".join(str(name) for name in missing) or None),
    ]
    return pairs_list(pairs, "Cost")


def bought_rows(
    source: BookSource, bought: Sequence[Mapping[str, Any]], cost: Mapping[str, Any] | None
) -> list[Html]:
    """Return a shopping list, a step for each thing."""
    money = (cost or {}).get("currency") or ""
    done = []
    for row in bought:
        unit = row.get("unit") or ""
        packs = ", ".join(f"{p['count']} x {p['size']:g} {unit}" for p in row.get("packs") or [])
        needed, buy = (joined([source.quantity(key, row[key]), f" {unit}"]) for key in ("needed", "bought"))
        where = row.get("words") or ""
        told = [packs or buy, joined(["needed ", needed]), where or None]
        if row.get("price") is not None:
            told.insert(1, joined([source.quantity("price", row["price"]), f" {money}"]))
        words = joined([one for one in told if one], "; ")
        done.append(step("buy", el("strong", row["name"]), ": ", words, what=[row["name"], packs or buy]))
    return done


def _besides(source: BookSource, groups: set[Any]) -> list[Html]:
    """Return what is bought besides the shopping list: foam, glue, pins, board for templates."""
    summary = source.summary
    rows: list[tuple[str, list[object]]] = []
    if "foam" not in groups:
        for row in (summary.get("sheets") or {}).get("by_stock") or []:
            size = joined((source.quantity(f"{side}_mm", row[f"{side}_mm"]) for side in _SIDES), " x ")
            rows.append(("foam", ["Foam, ", row["stock"], f": {row['count']} of ", size]))
    glue = summary.get("glue") or {}
    if glue.get("glue_g") and "adhesive" not in groups:
        spread = source.quantity("coverage_g_m2", glue["coverage_g_m2"])
        rows.append(("glue", ["Glue for foam: ", source.quantity("glue_g", glue["glue_g"]), ", at ", spread]))
    lengths = pin_lengths(summary)
    if lengths:
        rod = source.quantity("rod_mm", summary["pins"]["diameter_mm"])
        most = source.quantity("l_mm", sum(length * count for length, count in lengths.items()))
        rows.append(("pins", ["Pins: rod of ", rod, ", ", most, " in all"]))
    templates = source.rows("templates")
    if templates and "board" not in groups:
        area = source.quantity("area_m2", sum(one["area_m2"] for one in templates))
        thicknesses = sorted({told(one["to_mm"] - one["from_mm"], "board_mm") for one in templates})
        thick = source.quantity("board_mm", thicknesses)
        rows.append(("board", ["Board for templates: ", area, " net, ", thick, " thick"]))
    return [step(f"buy-{what}", *words) for what, words in rows]


def pin_lengths(summary: Mapping[str, Any]) -> dict[float, int]:
    """Return how many pins there are of each length.

    Returns
    -------
    dict of float to int
        Count by length in mm, the longest first.
    """
    counts: dict[float, int] = {}
    for contact in (summary.get("pins") or {}).get("contacts") or []:
        for pin in contact["pins"]:
            counts[pin["length_mm"]] = counts.get(pin["length_mm"], 0) + 1
    return dict(sorted(counts.items(), reverse=True))


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
    loose = "; cut back where a loose piece stands in their way"
    if told["flanges"]:
        rows += [
            ("mould-line", "Parting marked on the plug, all along"),
            (
                "mould-boards",
                "Flange boards sealed and waxed, stood along the parting, held from behind; "
                "the corner filled with clay or wax, struck off sharp: it is the mould's edge"
                + loose
                * any(part["takes"] for part in told["parts"]),
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
