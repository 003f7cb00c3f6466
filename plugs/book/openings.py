"""What the build book tells of openings: scribed on the foam before cloth goes over it, cut out last."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from plugs.book.html import Html, card, cards, el, joined, step
from plugs.book.source import BookSource

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
