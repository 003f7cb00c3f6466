"""Sections of the build book up to the saw: what it is, cautions, what to buy, templates, cutting."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from plugs.book.changed import changed
from plugs.book.figures import MIDDLING, SMALL, drawing_figure
from plugs.book.html import Html, el, joined, pairs_table, quantities_table, step, steps
from plugs.book.source import BookSource
from plugs.book.views import views_drawing
from plugs.ground.units import format_length
from plugs.words.ways import called

_SHOWN: Final = (("finish", "Finished surface"), ("foam", "Foam"), ("layers", "Layers"))
_KEYS: Final = (
    "Turn: drag, one finger, or arrow keys. Move: right button, two fingers, or Shift and arrow keys. "
    "Zoom: wheel (after a click), pinch, or + and −. Home: first view."
)


_GAUGES: Final = (
    "Gauges are outside templates: plates with the plug cut out of them, which stand on the baseboard. They "
    "are offered up one at a time, part by part, while it is sanded. Light is what the edge shows at most, "
    "on one face, when the surface is on its line: the surface slopes away under the plate's thickness."
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
    views = drawing_figure(drawing, caption=words, unit=source.unit, words=False)
    pictures = source.seen("more")
    instead = el("div", pictures, class_="instead") if pictures else None
    return joined([changed(source), viewer(source), instead, views, _sizes(source)])


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
        ("Centre of gravity, x, y, z", _given(source, part, "centre_of_gravity_mm")),
        ("Layers", str(len(source.rows("layers")))),
        ("Sheets of foam", None if sheets is None else str(len(sheets))),
    ]
    return pairs_table("Figures", pairs)


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


def _given(source: BookSource, figures: Mapping[str, Any], name: str) -> Html | None:
    """Return a figure if it is there."""
    return None if figures.get(name) is None else source.quantity(name, figures[name])


def viewer(source: BookSource) -> Html:
    """Return the frame of the plug in three dimensions, which a program fills where the browser can."""
    canvas = el(
        "canvas",
        tabindex="0",
        role="img",
        aria_label=f"{source.title} in three dimensions",
        aria_describedby="viewer-keys",
    )
    still = None if source.pictures else el("canvas", class_="still")
    shown = [el("button", words, type="button", data_show=name) for name, words in _SHOWN]
    views = [el("button", words, type="button", data_view=name) for name, words in _views()]
    axes = (("", "none"), ("x", "across, x"), ("y", "lengthwise, y"), ("z", "level, z"))
    axis = el("select", *(el("option", words, value=name) for name, words in axes), data_part="axis")
    only = el("select", el("option", "all", value=""), data_part="only")
    box = el("input", type="checkbox", data_part="templates")
    rows = (
        el("div", *shown, role="group", aria_label="What is shown"),
        el("div", *views, role="group", aria_label="View"),
        el(
            "div",
            el("label", "Drawn apart ", _slider("apart", 100), class_="slide"),
            el("label", "Layer ", only),
            data_part="apart-row",
        ),
        el("div", el("label", box, " ", el("span", "Templates"), class_="choice"), data_part="templates-row"),
        el("div", el("label", "Section ", axis)),
        el(
            "div",
            el("label", "Section at ", _slider("at", 1000), class_="slide"),
            el("output", data_part="at-words", aria_live="polite"),
            data_part="at-row",
        ),
        el(
            "div",
            el("label", "Wire on its way ", _slider("wire", 1000), class_="slide"),
            el("output", data_part="wire-words", aria_live="polite"),
            data_part="wire-row",
        ),
    )
    return el(
        "section",
        el("h3", "In three dimensions"),
        el("div", canvas, class_="scene"),
        still,
        el("p", _KEYS, id="viewer-keys", class_="note screen"),
        el("div", *rows, class_="controls"),
        id="viewer",
        hidden=True,
        data_unit=source.unit,
    )


def _slider(part: str, most: int) -> Html:
    """Return a slider from 0."""
    return el("input", type="range", min=0, max=most, value=0, data_part=part)


def cautions(source: BookSource) -> Html:
    """Return what to know before anything is cut."""
    found = source.findings("all")
    if not found:
        found = el("p", "Nothing to stop at or to mind; notes stand where they matter.")
    rows = source.rows("cautions")
    told = [
        el("div", el("p", el("strong", row["about"]), ". ", row["text"]), class_="finding") for row in rows
    ]
    heads = [el("h3", "Health and fire")] if told else []
    return joined([found, *heads, *told, steps([("cautions", "Read by everyone who works on it")])])


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
    listed = quantities_table("Measured lines", columns, rows, source.unit)
    return joined([el("p", _MEASURED), source.findings("measured"), listed, source.figures("measured")])


def templates(source: BookSource) -> Html:
    """Return the templates and the plan that they stand on."""
    columns = (
        ("name", "Template"), ("kind", "Kind"), ("at_mm", "At"), ("from_mm", "From"), ("to_mm", "To"),
        ("area_m2", "Area"), ("bevel_mm", "Bevel"), ("bevel_deg", "Angle"), ("gap_mm", "Light"),
    )  # fmt: skip
    listed = quantities_table(
        "Templates",
        columns,
        source.rows("templates"),
        source.unit,
        lambda row: step(f"template-{row['name']}", row["name"], " cut"),
    )
    drawn = joined([source.figures("boards", height=MIDDLING), source.figures("templates", height=SMALL)])
    base = source.figures("base", "Draw it on the building board.")
    gauged = any(row.get("line") for row in source.rows("templates"))
    told = el("p", _GAUGES) if gauged else None
    done = (
        steps([("base-plan", "Base plan drawn on the building board, centreline and stations")])
        if base
        else None
    )
    return joined([source.findings("templates"), told, listed, drawn, done, base])


def cutting(source: BookSource) -> Html:
    """Return how the sheets are cut, sheet by sheet and layer by layer."""
    parts: list[object] = [source.findings("cutting")]
    sheets = (source.summary.get("sheets") or {}).get("sheets") or []
    drawn = list(source.of("sheets").items())
    for k, sheet in enumerate(sheets):
        number = sheet["number"]
        head = el("h3", f"Sheet {number}, of {sheet['stock']}")
        pieces = [
            (f"cut-{number}-{piece['name']}", f"{piece['name']} cut from sheet {number}")
            for piece in sheet["pieces"]
        ]
        figure = source.drawn(*drawn[k], height=MIDDLING) if k < len(drawn) else None
        parts.append(el("div", head, steps(pieces), figure, class_="together"))
    if len(drawn) > len(sheets):
        parts += [source.drawn(*one) for one in drawn[len(sheets) :]]
    columns = (
        ("name", "Piece"), ("layer", "Layer"), ("place", "Place"), ("sheet_mm", "Sheet"), ("area_m2", "Area"),
        ("volume_m3", "Volume"), ("weight_kg", "Weight"),
    )  # fmt: skip
    parts.append(quantities_table("Pieces", columns, source.rows("pieces"), source.unit))
    parts.append(el("h3", "Layers"))
    parts.append(
        el("p", "Saw along SAW_LINE, with foam to spare; sand to the two FINISH lines, one on either face.")
    )
    parts.append(_layers(source))
    parts.append(source.seen("layers"))
    parts.append(source.figures("layers"))
    return joined(parts)


def _layers(source: BookSource) -> Html:
    """Return the layers as a table with boxes to tick."""
    columns = (
        ("name", "Layer"), ("axis", "Along"), ("from_mm", "From"), ("to_mm", "To"), ("sheet_mm", "Sheet"),
        ("rough_area_m2", "Cut area"), ("volume_m3", "Foam left"),
    )  # fmt: skip
    return quantities_table(
        "Layers, in the order of stacking", columns, source.rows("layers"), source.unit,
        lambda row: step(f"layer-{row['name']}", row["name"], " marked and cut"),
    )  # fmt: skip
