"""What the build book tells of openings, scribed before cloth and cut out last, and of hard points."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from plugs.book.html import Html, card, cards, el, joined, step
from plugs.book.source import BookSource
from plugs.hard_points.set_in import FLAT_ENOUGH

_WHOLE: Final = (
    "Scribed, not cut: there is no hole in the foam, cloth is laid over all of it, and the laminate is cut "
    "out when it is hard. Bought cloth and mixed resin cover it; the weight of the part does not count it."
)
_CUTTING: Final = (
    "Cured laminate gives fine glass dust, and its edges cut like glass: extraction at the tool, goggles, "
    "ears guarded, the respirator that the caution on dust names; no gloves near a blade that turns, gloves "
    "for the cut edge. Guard on, the work held fast, a hole drilled in each corner first, the last bit held "
    "so that it does not drop into the blade."
)
_CARE: Final = (
    "Dust of wood, foam and metal drawn off, eyes and ears guarded, piece and plug held fast. Resin and its "
    "fillers: gloves, fresh air, a mask for powder, by their data sheets and the rules of the place. What a "
    "fixing must carry is for whoever is licensed to say so: nothing here is a proof of strength."
)


def openings(source: BookSource) -> Html:
    """Return how each opening is scribed on the foam; without a laminate, also how it is cut out."""
    rows = source.rows("openings")
    if not rows:
        return Html("")
    paths = source.paths("opening", [row["name"] for row in rows])
    made = [_scribing(source, row, path) for row, path in zip(rows, paths, strict=True)]
    whole, schedule = source.summary.get("skin") or {}, source.summary.get("schedule") or {}
    later = None if whole.get("over_mm") or schedule else cut_out(source)
    return joined([source.findings("opening"), el("p", _WHOLE), cards(made), later])


def _scribing(source: BookSource, row: Mapping[str, Any], path: str) -> Html:
    """Return the card of an opening that is scribed."""
    tapes = [joined([source.quantity("_mm", one["length_mm"]), f" {one['from']}"]) for one in row["tapes"]]
    at = joined([source.quantity("_mm", value) for value in row["middle_mm"]], ", ")
    wide, high = (source.quantity("_mm", row["size_mm"][word]) for word in ("width", "height"))
    sizes = (
        ("Size", joined([wide, " x ", high])),
        ("Middle at x, y, z", at),
        ("Line", source.quantity("line_mm", row["line_mm"])),
    )
    words: list[object] = [
        f" in {row['panel']}: middle marked by tape (",
        joined(tapes, "; ") if tapes else at,
        "), template laid on it, arrow as told, and scribed round with a soft pencil or a blunt point",
    ]
    rim = row["rim"]
    if rim is not None:
        words = [f" in {row['panel']}, a {rim['kind']} round it: ", *_rim_words(source, rim)]
    done = step(
        "opening-scribe", el("strong", row["name"]), *words, what=[source.shape(path), row["middle_mm"], rim]
    )
    lies = [el("p", words, class_="note") for words in row["lies"]]
    return card(done, source.picture(path), *lies, sizes=sizes)


def cut_out(source: BookSource) -> Html:
    """Return how openings are cut out of the laminate when it is hard.

    Parameters
    ----------
    source : BookSource

    Returns
    -------
    Html
        Empty where there are none.
    """
    rows = source.rows("openings")
    if not rows:
        return Html("")
    done = []
    for row in rows:
        waste = source.known(row, "cut_out_kg")
        rim = row["rim"]
        words = [f"{row['name']}: scribed again from its template, cut out inside the line, filed to it"]
        if rim is not None and rim["lid_mm"] is None:
            wide = source.quantity("_mm", rim["width_mm"])
            words = [f"{row['name']}: floor of its well cut away, return flange trimmed ", wide]
            words.append(" below the surface of the panel, by a marking gauge run round it")
        words += [", edge sealed with resin (", source.quantity("area_m2", row["area_m2"])]
        words += [*([] if waste is None else [", ", waste]), " of waste)"]
        path = next(iter(source.paths("opening", [row["name"]])), "")
        done.append(card(step("opening-cut", *words, what=[source.shape(path), row["middle_mm"]])))
    return joined([el("h4", "Openings cut out"), el("p", _CUTTING), cards(done)])


def _rim_words(source: BookSource, rim: Mapping[str, Any]) -> list[object]:
    """Return how what goes round an opening is made ready for cloth."""
    deep = source.quantity("_mm", rim["depth_mm"])
    if rim["lid_mm"] is None:
        return ["its well, ", deep, " deep, is made as told under recesses; cloth goes down its walls"]
    wide, high, gap = (
        source.quantity("_mm", value)
        for value in (rim["lid_mm"]["width"], rim["lid_mm"]["height"], rim["gap_mm"])
    )
    return [
        *("the channel, ", deep, " deep, is made as told under recesses, the opening scribed on its floor"),
        *("; its lid is ", wide, " x ", high, ", ", gap, " free all round, flush where with its seal it is"),
        " as thick as that",
    ]


def hard_points(source: BookSource) -> Html:
    """Return how hard points are made and set in.

    Parameters
    ----------
    source : BookSource

    Returns
    -------
    Html
        Empty without one.
    """
    rows = source.rows("hard_points")
    if not rows:
        return Html("")
    paths = source.paths("recess", [row["name"] for row in rows])
    parts: list[object] = [el("h3", "Hard points"), el("p", _CARE, class_="note")]
    for row, path in zip(rows, paths, strict=True):
        what = [source.shape(path), row["material"], row["pocket_depth_mm"], row["after_ply"]]
        sizes = (
            ("Piece", _sides(source, row["piece_mm"], "width", "height")),
            ("Thick", source.quantity("thickness_mm", row["thickness_mm"])),
            ("Weighs", source.quantity("mass_kg", row["mass_kg"])),
        )
        holes = ", holes bored" if row["holes"] else ""
        head = joined([el("strong", row["name"]), f": cut of {row['material']}{holes} as drawn"])
        parts.append(card(step("hard-cut", head, what=what), source.picture(path), sizes=sizes))
        told = _in_foam(source, row) if row["after_ply"] is None else _between(source, row)
        parts += [
            card(step(f"hard-{n}", joined([el("strong", row["name"]), ": ", *words]), what=[what, n]))
            for n, words in enumerate([*told, *_plies(source, row)])
        ]
    return joined(parts)


def _in_foam(source: BookSource, row: Mapping[str, Any]) -> list[list[object]]:
    """Return how a piece is let into the sanded foam."""
    curve = source.quantity("curve_mm", row["curve_mm"])
    bedded = source.quantity("bedding_mm", row["bedding_mm"])
    if row["curve_mm"] < FLAT_ENOUGH:
        flush: list[object] = ["flush with the foam"]
    elif row["is_planed"]:
        flush = ["standing out by up to ", curve, ", as the surface is curved"]
    else:
        flush = ["level with the lowest foam at its edge; up to ", curve, " is open over it"]
    done: list[list[object]] = [
        [
            "its pocket routed after sanding by the pattern above, ",
            source.quantity("pocket_depth_mm", row["pocket_depth_mm"]),
            " deep, and brushed out; the piece tried dry, roughened and free of grease",
        ],
        [
            "pocket walls sealed as the foam is (a barrier where the schedule has one), ",
            bedded,
            " of thickened resin spread in it, the piece pressed in, ",
            *flush,
            "; what oozes out struck off; left to set",
        ],
    ]
    if row["curve_mm"] >= FLAT_ENOUGH:
        last = (
            "planed and sanded down to the foam"
            if row["is_planed"]
            else "filled over, set, sanded to the foam"
        )
        done.append([last, ", checked with a straightedge and the gauges; then the first ply"])
    return done


def _between(source: BookSource, row: Mapping[str, Any]) -> list[list[object]]:
    """Return how a piece is laid between plies."""
    run = source.quantity("bevel_run_mm", row["bevel_run_mm"])
    edge: list[object] = (
        ["its edge bevelled over ", run, " all round"] if row["bevel_run_mm"] else ["its edge square"]
    )
    return [
        [f"laid over ply {row['after_ply']} and before the next, ", *edge, ": roughened, free of grease"],
        [
            source.quantity("bedding_mm", row["bedding_mm"]),
            " of thickened resin under it, a fillet of it round its edge, pressed down, no air under it; the "
            "surface stands ",
            source.quantity("rise_mm", row["rise_mm"]),
            " higher there",
        ],
    ]


def _plies(source: BookSource, row: Mapping[str, Any]) -> list[list[object]]:
    """Return the plies over a hard point alone."""
    when = "under the first ply" if row["after_ply"] is None else "under the next ply"
    return [
        [
            f"{ply['cloth']}, ",
            _sides(source, ply, "width_mm", "height_mm"),
            f", middle on middle, {when}, rolled out",
        ]
        for ply in row["plies"]
    ]


def _sides(source: BookSource, shape: Mapping[str, float], width: str, height: str) -> Html:
    """Return the two sides of a rectangle."""
    return joined([source.quantity("_mm", shape[width]), " x ", source.quantity("_mm", shape[height])])
