"""Sections of the build book up to the saw: what it is, cautions, what to buy, templates, cutting."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np

from plugs.book.changed import changed
from plugs.book.figures import CARD, MIDDLING, drawing_figures
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
    text,
)
from plugs.book.source import BookSource
from plugs.book.views import views_drawing
from plugs.drafting.styles import FINISH_BOTTOM_FACE, FINISH_TOP_FACE, SAW_LINE
from plugs.ground.units import format_length
from plugs.words.ways import called

_SHOWN: Final = (
    ("finish", "Finished surface"), ("foam", "Foam"), ("layers", "Layers"), ("templates", "Templates"),
)  # fmt: skip
_LOOKS: Final = (("light", "Soft light"), ("lines", "Reflection lines"), ("curvature", "Curvature"))
_KEYS: Final = (
    "Turn: drag, one finger, or arrow keys. Move: right button, two fingers, or Shift and arrow keys. "
    "Zoom: wheel (after a click), pinch, or + and −. F: all of it. Home: first view. "
    "A click on a layer, or on its name, shows it alone; another shows all again."
)


_SECTION_OF: Final = {"wire": "Cutting by wire", "router": "Cutting on the router"}
"""Heading of the section that tells how something is cut."""

_MIRRORED: Final = ("left", "right")
_LOOKS_LIKE: Final = 0.01  # of a size: less than a line's width on a small picture

_SIDES: Final = ("width", "height", "thickness")

_SAWN: Final = "Saw proud of the line, then plane or sand the edge to it. "
_GAUGES: Final = (
    "Gauges are outside templates: plates with the plug cut out of them, which stand on the baseboard and "
    "are offered up one at a time, part by part, while it is sanded."
)


_MEASURED: Final = (
    "Each curve is as smooth as the distance from its measured points that the recipe allows lets it be. "
    "Farthest and rms are the distances of the points from it; points left out are told by their numbers. "
    "The comb stands on the outside of each bend, longer where it is tighter: of a fair line it rises and "
    "falls without a jolt. Where it does not, measure there again before anything is cut."
)


def _views() -> tuple[tuple[str, str], ...]:
    """Return what the plug can be looked at from, and how that is called."""
    said = called()
    words = (
        ("quarter", f"{said.from_rear} {said.right}"), ("bow", f"{said.from_front} {said.left}"),
        ("side", said.from_left), ("plan", "from above"), ("end", said.from_rear),
        ("front", said.from_front), ("below", "from below"),
    )  # fmt: skip
    return tuple((name, called.capitalize()) for name, called in words)


def about(source: BookSource) -> Html:
    """Return what it is and how large: views with main dimensions, the plug in three dimensions, figures."""
    drawing = views_drawing(source.scene.views, plug_name=source.title, display_unit=source.unit)
    skin = source.summary.get("skin")
    words = "Main dimensions of the finished part" if skin else "Main dimensions"
    (views,) = drawing_figures([drawing], [words], unit=source.unit, words=False, height=MIDDLING)
    pictures = source.seen("more")
    instead = el("div", pictures, class_="instead") if pictures else None
    return joined([changed(source), viewer(source), instead, views, _sizes(source), _curve(source)])


def _curve(source: BookSource) -> Html | None:
    """Return what it means that a plug follows a curve, and where its stations stand; None of others."""
    curve = source.along
    if curve is None:
        return None
    words = joined([
        f"This plug follows a curve in {'plan' if curve['view'] == 'plan' else 'side view'}, ",
        source.quantity("length_mm", curve["length_mm"]),
        " long. Stations and gauges stand square to it: the x of a station, a gauge, a bay or a half-breadth "
        "is the length along the curve, and y and z there are counted from it. Layers, joints, pins and all "
        "other places are told along the plug's own x, y and z, and layers are cut square to one of these.",
    ])  # fmt: skip
    columns = (
        ("number", "Station"), ("along_mm", "Along the curve"), ("place_mm", "The curve is at x, y, z"),
        ("heading_deg", "It runs, from x" + (" to y" if curve["view"] == "plan" else " to z")),
    )  # fmt: skip
    told = quantities_table("Stations along the curve", columns, curve["stations"], source.unit)
    return joined([el("p", words), told])


def _sizes(source: BookSource) -> Html:
    """Return the figures of the whole."""
    summary = source.summary
    solid, skin, part = summary["solid"], summary.get("skin") or {}, summary.get("part") or {}
    low, high = solid["bounds_mm"]["from"], solid["bounds_mm"]["to"]
    weights = [piece.get("weight_kg") for piece in source.rows("pieces")]
    known = [weight for weight in weights if weight is not None]
    sheets = (summary.get("sheets") or {}).get("sheets")
    size = " x ".join(format_length(b - a, source.unit) for a, b in zip(low, high, strict=True))
    pairs = [
        ("Foam, length x breadth x height", size),
        ("Foam, volume", source.quantity("volume_m3", solid["volume_m3"])),
        (
            "Foam as cut, weight",
            source.quantity("weight_kg", sum(known)) if known and len(known) == len(weights) else None,
        ),
        (
            "Finished part, surface",
            source.quantity("area_m2", skin["finish_area_m2"]) if "finish_area_m2" in skin else None,
        ),
        ("Finished part, weight", _weight(source, part)),
        ("Centre of gravity, x, y, z", source.known(part, "centre_of_gravity_mm")),
        ("Layers", str(len(source.rows("layers")))),
        ("Sheets of foam", None if sheets is None else str(len(sheets))),
    ]
    return pairs_list(pairs, "Figures")


def _weight(source: BookSource, part: Mapping[str, Any]) -> Html | None:
    """Return the weight of the part with its spread, None where it is not known."""
    if part.get("mass_kg") is None:
        return None
    least, most = (part.get(f"{word}_mass_kg") for word in ("least", "most"))
    spread = (
        []
        if least is None or most is None
        else [", ", source.quantity("kg_kg", least), " to ", source.quantity("kg_kg", most)]
    )
    return joined([source.quantity("mass_kg", part["mass_kg"]), *spread])


def viewer(source: BookSource) -> Html:
    """Return the frame of the plug in three dimensions, which a program fills where the browser can."""
    canvas = el(
        "canvas",
        tabindex="0",
        role="img",
        aria_label=f"{source.title}, 3D view",
        aria_describedby="viewer-keys",
    )
    still = None if source.pictures else el("canvas", class_="still")
    return el(
        "section",
        el("h3", "3D view"),
        el("div", canvas, el("div", data_part="labels", class_="labels"), class_="scene"),
        still,
        el("p", _KEYS, id="viewer-keys", class_="note screen"),
        el("div", *_controls(source), class_="controls"),
        id="viewer",
        hidden=True,
        data_unit=source.unit,
    )


def _draft_key(source: BookSource) -> Html | None:
    """Return what the colours of a mould's draft mean; None without one."""
    told = source.summary.get("mould")
    if not told or not source.scene.palette:
        return None
    from plugs.mould.colours import key_of

    rows = zip(source.scene.palette, key_of(told["draft_wanted_deg"]), strict=True)
    patches = ((el("span", style=f"background: {colour}"), f" {words} ") for colour, words in rows)
    return el("div", *(el("p", *pair) for pair in patches), data_part="draft-key", class_="bends")


def _controls(source: BookSource) -> tuple[Html, ...]:
    """Return what says how the plug is shown, row by row."""
    key = _draft_key(source)
    shown = _SHOWN if key is None else (*_SHOWN, ("mould", "Mould, by draft"))
    fit = el("button", "Zoom to fit", type="button", data_part="fit")
    axes = (("", "none"), ("x", "across, x"), ("y", "lengthwise, y"), ("z", "level, z"))
    lamps = (("x", "lengthwise"), ("y", "across"), ("z", "upright"))
    return (
        _buttons("What is shown", "show", shown),
        _buttons("How it is shown", "look", _LOOKS),
        el(
            "div",
            *_told_slider("Width of a line", "lamp", 60, 2),
            _choice("Lamps", "lamp-axis", lamps),
            data_part="lamp-row",
        ),
        el("div", data_part="bend-key", class_="bends"),
        *(() if key is None else (key,)),
        _buttons("View", "view", _views(), fit),
        el(
            "div",
            el("label", "Exploded ", _slider("apart", 100), class_="slide"),
            _choice("Layer", "only", (("", "all"),)),
            data_part="apart-row",
        ),
        el(
            "div",
            _box("templates", "Templates beside it"),
            el("span", _box("board", "Building board"), data_part="board-row"),
            data_part="templates-row",
        ),
        el("div", _choice("Section", "axis", axes)),
        el("div", *_told_slider("Section at", "at", 1000), data_part="at-row"),
        el("div", *_told_slider("Wire on its way", "wire", 1000), data_part="wire-row"),
    )


def _buttons(words: str, kind: str, rows: Sequence[tuple[str, str]], *more: Html) -> Html:
    """Return buttons of a kind in a row, of which the first word of each tells the program what it does."""
    made = [el("button", told, type="button", **{f"data_{kind}": name}) for name, told in rows]
    return el("div", *made, *more, role="group", aria_label=words)


def _choice(words: str, part: str, rows: Sequence[tuple[str, str]]) -> Html:
    """Return a list to choose from."""
    options = [el("option", told, value=name) for name, told in rows]
    return el("label", f"{words} ", el("select", *options, data_part=part))


def _box(part: str, words: str) -> Html:
    """Return a box to tick."""
    return el("label", el("input", type="checkbox", data_part=part), " ", el("span", words), class_="choice")


def _told_slider(words: str, part: str, most: int, least: int = 0) -> tuple[Html, Html]:
    """Return a slider, and where its value is told."""
    told = el("output", data_part=f"{part}-words", aria_live="polite")
    return el("label", f"{words} ", _slider(part, most, least), class_="slide"), told


def _slider(part: str, most: int, least: int = 0) -> Html:
    """Return a slider."""
    return el("input", type="range", min=least, max=most, value=least, data_part=part)


def cautions(source: BookSource) -> Html:
    """Return what to know before anything is cut."""
    found = source.findings("all")
    if not found:
        found = el("p", "Nothing to stop at or to mind; notes stand where they matter.")
    rows = source.rows("cautions")
    told = [el("div", el("dt", row["about"]), el("dd", row["text"])) for row in rows]
    heads = [el("h3", "Health and fire"), el("dl", *told, class_="cautions")] if told else []
    read = step("cautions", "Read by everyone who works on it", what=[[*row.values()] for row in rows])
    return joined([found, *heads, listed([read])])


def measured(source: BookSource) -> Html:
    """Return the measured lines: how far each is from its points, what was left out, where it bends most."""
    rows = source.rows("measured")
    if not rows:
        return Html("")
    columns = (
        ("name", "Line"), ("seen", "Of"), ("source", "Measured in"), ("points", "Points"),
        ("left_out", "Left out"), ("allowed_mm", "Allowed"), ("largest_mm", "Farthest"), ("rms_mm", "Rms"),
        ("tightest_radius_mm", "Least radius"), ("tightest_place_mm", "at"),
    )  # fmt: skip
    told = quantities_table("Measured lines", columns, rows, source.unit)
    shown = source.figures("measured", height=CARD[1])
    return joined(
        [source.findings("measured"), folded("How they were drawn", el("p", _MEASURED), told), shown]
    )


def templates(source: BookSource) -> Html:
    """Return the templates, each a card, and the plan that they stand on."""
    rows = source.rows("templates")
    paths = source.paths("templates", [row["name"] for row in rows])
    made, seen = list[Html](), list[tuple[object, ...]]()
    for row, path in zip(rows, paths, strict=True):
        look = _look(source, row, path)
        made.append(_template(source, row, path, is_new=not any(_are_alike(look, one) for one in seen)))
        seen.append(look)
    plan = []
    for path in source.of("base"):
        words = f"Base plan drawn on the building board: outline, {source.centreline}, stations"
        plan.append(card(step("base", words, what=source.shape(path)), source.picture(path)))
    columns = (
        ("name", "Template"), ("kind", "Kind"), ("at_mm", "At"), ("from_mm", "From"), ("to_mm", "To"),
        ("area_m2", "Area"), ("bevel_mm", "Bevel"), ("bevel_deg", "Angle"), ("gap_mm", "Light"),
    )  # fmt: skip
    told = quantities_table("Templates", columns, rows, source.unit)
    is_gauged = any(row.get("line") for row in rows)
    boards = sorted({round(row["to_mm"] - row["from_mm"], 2) for row in rows})
    thick = joined(["All are of board ", source.quantity("board_mm", boards), " thick. "])
    return joined(
        [
            source.findings("templates"),
            cards(plan),
            el("p", _SAWN, thick, _GAUGES if is_gauged else None) if rows else None,
            source.figures("boards", height=MIDDLING),
            cards(made),
            source.others("templates", paths),
            folded("All templates in a table", told),
        ]
    )


def _template(source: BookSource, row: Mapping[str, Any], path: str, *, is_new: bool) -> Html:
    """Return the card of a template that is cut; what looks like one before it is pictured folded away."""
    by = source.cut_by.get(row["name"])
    way = f" cut, as “{_SECTION_OF[by]}” tells" if by else " cut"
    thick = row["to_mm"] - row["from_mm"]
    axis = "x" if row["kind"].startswith("station") else "y"
    sizes = (
        ("Size", source.extent(path)),
        ("at", joined([f"{axis} = ", source.quantity("at_mm", row["at_mm"])])),
    )
    box = step("template", el("strong", row["name"]), way, what=[source.shape(path), round(thick, 2)])
    picture = source.picture(path)
    if picture and not is_new:
        picture = folded("Its picture, much like one above", picture, on_paper=False)
    return card(box, picture, sizes=sizes)


def _look(source: BookSource, row: Mapping[str, Any], path: str) -> tuple[object, ...]:
    """Return what a template looks like: its kind, its place, the part of it, its size."""
    half = "either half" if row.get("part") in _MIRRORED else row.get("part")
    return row["kind"], row["at_mm"], half, source.size(path)


def _are_alike(one: tuple[object, ...], other: tuple[object, ...]) -> bool:
    """Return whether two templates look alike on a small picture."""
    sizes = np.asarray(one[3]), np.asarray(other[3])
    return one[:3] == other[:3] and np.allclose(*sizes, rtol=_LOOKS_LIKE)


def cutting(source: BookSource) -> list[Html]:
    """Return how the sheets are cut, sheet by sheet and piece by piece."""
    sheets = (source.summary.get("sheets") or {}).get("sheets") or []
    layers = source.rows("layers")
    pieces = source.rows("pieces") or [{"name": row["name"], "layer": row["name"]} for row in layers]
    paths = source.paths("layers", [row["name"] for row in layers])
    drawn = {row["name"]: (row, path) for row, path in zip(layers, paths, strict=True)}
    made: dict[str, Html] = {}
    pictures = source.pictures_of(paths)
    for row in pieces:
        layer, path = drawn.get(row["layer"], ({}, ""))
        picture = pictures.pop(path, None)  # once, of a layer that is of several pieces
        made[row["name"]] = _piece(source, {**layer, **row}, path, picture, is_on_sheet=bool(sheets))
    words = (
        f"Sawn along {SAW_LINE}, which leaves foam to spare all round. Marked on it: {FINISH_BOTTOM_FACE} "
        f"and {FINISH_TOP_FACE}, the lines to sand to on either face, glue lines and pins; a centreline, an "
        "arrow forward and its name."
    )
    parts: list[object] = [source.findings("cutting"), el("p", words) if layers else None]
    figures = source.all_drawn(source.of("sheets"), height=MIDDLING)
    for k, sheet in enumerate(sheets):
        size = source.sides([sheet[f"{one}_mm"] for one in _SIDES])
        head = joined([f"Sheet {sheet['number']}: ", "offcut " if sheet.get("is_offcut") else "", size])
        figure = figures[k] if k < len(figures) else None
        parts += [el("div", el("h3", head), figure, class_="together")]
        parts.append(cards(made.pop(one["name"]) for one in sheet["pieces"] if one["name"] in made))
    parts += [cards(made.values()), *figures[len(sheets) :]]
    parts += [source.others("layers", paths), folded("Layers, as they look", source.seen("layers"))]
    parts.append(_tables(source))
    return [whole for part in parts if part is not None and (whole := text(part))]


def _piece(
    source: BookSource, row: Mapping[str, Any], path: str, picture: Html | None, *, is_on_sheet: bool
) -> Html:
    """Return the card of a piece of foam that is cut, with its layer pictured."""
    by = source.cut_by.get(row["name"])
    way = f"cut as “{_SECTION_OF[by]}” tells, and marked" if by else "marked out and sawn"
    what = [source.shape(path, ("GLUE", "PINS")), row.get("place"), row.get("sheet_mm")]
    sizes = (
        ("Size", None if row.get("place") else source.extent(path)),
        ("Thick", None if is_on_sheet else source.known(row, "sheet_mm")),
        ("at", source.reach(row["axis"], row["from_mm"], row["to_mm"]) if "axis" in row else None),
    )
    box = step("piece", el("strong", row["name"]), f": {way}", what=what)
    return card(box, picture, sizes=sizes)


def _tables(source: BookSource) -> Html:
    """Return layers and pieces as tables."""
    layers = (
        ("name", "Layer"), ("axis", "Along"), ("from_mm", "From"), ("to_mm", "To"), ("sheet_mm", "Sheet"),
        ("saw_line_area_m2", "Cut area"), ("volume_m3", "Finished volume"),
    )  # fmt: skip
    pieces = (
        ("name", "Piece"), ("layer", "Layer"), ("place", "Place"), ("sheet_mm", "Sheet"), ("area_m2", "Area"),
        ("volume_m3", "Volume"), ("weight_kg", "Weight"),
    )  # fmt: skip
    told = [
        quantities_table("Layers, in the order of stacking", layers, source.rows("layers"), source.unit),
        quantities_table("Pieces", pieces, source.rows("pieces"), source.unit),
    ]
    return folded("All layers and pieces in tables", *told)
