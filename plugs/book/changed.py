"""The first thing in the book once foam was cut: what changed since, and what is still good."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from plugs.book.html import Html, el, joined, steps, table
from plugs.book.source import BookSource
from plugs.changes.verdicts import NEW, SAME, VERDICTS
from plugs.changes.words import plain_words
from plugs.ground.units import format_length

_SIDES: Final = ("length", "width", "thickness")
_WHAT: Final = {
    "length_mm": "Foam, length", "breadth_mm": "Foam, breadth", "height_mm": "Foam, height",
    "volume_m3": "Foam, volume", "area_m2": "Foam, surface", "foam_kg": "Foam as cut, weight",
    "flanges_m2": "Flanges", "trim_lines_mm": "Trim lines", "sheets": "Sheets of foam",
    "part_kg": "Finished part, weight", "mould_kg": "Mould, weight", "price": "What to buy",
}  # fmt: skip


def changed(source: BookSource) -> Html | None:
    """Return what changed since foam was cut; None where no build is marked."""
    changes = source.summary.get("changes")
    if changes is None:
        return None
    return el(
        "div",
        el("h3", "What changed since foam was cut"),
        _numbers(source, changes),
        _findings("Findings that are new", changes["findings_came"]),
        _findings("Findings that are gone", changes["findings_went"]),
        _workpieces(changes),
        _surface(source, changes["surface"]),
        class_="changed",
    )


def _numbers(source: BookSource, changes: Mapping[str, Any]) -> Html:
    """Return parameters and figures, before and now."""
    rows: list[list[object]] = [
        [one["name"], *(plain_words(one[when]) for when in ("old", "new"))] for one in changes["parameters"]
    ]
    rows += [
        [_WHAT[name], was, now]
        for name, one in changes["figures"].items()
        if name in _WHAT
        and (was := source.quantity(name, one["old"])) != (now := source.quantity(name, one["new"]))
    ]
    if not rows:
        return el("p", "No parameter and no figure has changed.")
    return table("Parameters and figures that differ", ("", "As cut", "Now"), rows)


def _findings(head: str, found: Sequence[Mapping[str, str]]) -> Html | None:
    """Return findings that came or went."""
    if not found:
        return None
    rows = [el("li", f"{one['where']}: {one['message']}") for one in found]
    return joined([el("p", el("strong", head)), el("ul", *rows)])


def _workpieces(changes: Mapping[str, Any]) -> Html | None:
    """Return what becomes of each workpiece: a step for what is to be done, a line for all that stays."""
    found = changes["workpieces"]
    if not found:
        return None
    board = [one for one in found if one["kind"] != "cloth"]
    todo = [("changed", _to_do(one)) for one in board if one["verdict"] != SAME]
    same = [f"{one['kind']} {one['name']}" for one in board if one["verdict"] == SAME]
    left = changes["left_over"]
    return joined(
        [
            el("p", el("strong", "What was cut already")),
            steps(todo),
            el("p", f"The same, to be used as it is: {', '.join(same)}.") if same else None,
            el("p", f"Left over: {', '.join(left)}.") if left else None,
            _cloth([one for one in found if one["kind"] == "cloth"]),
        ]
    )


def _to_do(one: Mapping[str, Any]) -> Html:
    """Return what is to be done about a workpiece."""
    head = f"{one['kind'].capitalize()} {one['name']}: {one['verdict']}"
    words = one["to_do"] or ""
    was = f" The old {one['was']} serves for it." if one["was"] not in (None, one["name"]) else ""
    told = f". {words[:1].upper()}{words[1:]}.{was if one['verdict'] != NEW else ''} "
    return joined([el("strong", head), told, el("code", one["drawing"])])


def _cloth(found: Sequence[Mapping[str, Any]]) -> Html | None:
    """Return what becomes of the pieces of cloth, in a line for each verdict."""
    rows = [
        el("p", el("strong", f"Cloth, {verdict}: "), f"{', '.join(names)}.")
        for verdict in VERDICTS
        if (names := [one["name"] for one in found if one["verdict"] == verdict])
    ]
    where = el("p", "How far each piece of cloth is off stands in ", el("code", "changes.csv"), ".")
    return joined([*rows, where]) if rows else None


def _surface(source: BookSource, moved: Mapping[str, Any] | None) -> Html | None:
    """Return what is to be done to a plug that is glued already."""
    if moved is None:
        return None
    head = el("p", el("strong", "If the plug is glued already"))
    if not moved["panels"]:
        return joined([head, el("p", "Its surface is where it was, within 0.2 mm.")])
    volumes = el(
        "p",
        "Take off ", source.quantity("take_off_m3", moved["take_off_m3"]),
        ", add ", source.quantity("add_m3", moved["add_m3"]), " in all.",
    )  # fmt: skip
    rows = [
        [
            one["name"],
            *(
                cell
                for way in ("take_off", "add")
                for cell in (
                    source.quantity(f"{way}_mm", one[f"{way}_mm"]) if one[f"{way}_mm"] else None,
                    _place(source, one[f"{way}_at_mm"]),
                )
            ),
        ]
        for one in moved["panels"]
    ]
    heads = ("Place", "Take off, most", "At", "Add, most", "At")
    sizes = [
        " x ".join(
            format_length(block[side], source.unit) for side in ("length_mm", "width_mm", "thickness_mm")
        )
        for block in moved["blocks"]
    ]
    blocks = [
        (
            "bond",
            f"Bond on a block of {size} on {block['place']}, its middle at {_place(source, block['at_mm'])}",
        )
        for block, size in zip(moved["blocks"], sizes, strict=True)
    ]
    return joined(
        [head, volumes, source.seen("changed"), table("Where it moved most", heads, rows), steps(blocks)]
    )


def _place(source: BookSource, at: Sequence[float] | None) -> str | None:
    """Return a place as a person with a tape finds it."""
    if at is None:
        return None
    return ", ".join(
        f"{axis} = {format_length(value, source.unit)}" for axis, value in zip("xyz", at, strict=True)
    )
