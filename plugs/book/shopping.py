"""Section of the build book on what to buy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from plugs.book.html import Html, el, folded, joined, listed, pairs_list, quantities_table, step
from plugs.book.source import BookSource
from plugs.ground.figures import cell, told

_SIDES: Final = ("width", "height", "thickness")
_NO_STOCK: Final = (
    "The recipe lists no stock, or an empty one: no layer is parted to fit a sheet, no piece is arranged on "
    "one, and no foam is counted here."
)


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
