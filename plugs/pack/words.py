"""What the shop pack tells in words: cover, findings, cautions, what to buy, the sequence, the fit list."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import Drawing, Label, Path, paths_box
from plugs.drafting.flat import flat_points
from plugs.drafting.laying import figure
from plugs.drafting.styles import FINISH_BOTTOM_FACE, FINISH_TOP_FACE
from plugs.ground.amounts import amount, counted
from plugs.ground.units import format_length, format_size
from plugs.pack.tables import HEAD, LETTER, ROW, continued, set_table, wrapped, write

_WIDTH: Final = 190.0  # mm. Of words on the narrowest paper
_VIEW: Final = (150.0, 85.0)  # mm. Of the picture on the cover
_LEAST_VIEW: Final = 30.0  # mm. Of its height
CONTOURS: Final = 30
"""Layers at most that are drawn on the cover."""
_SLANT: Final = np.radians(30.0)  # of the two level axes in it: an isometric view (textbook)

_MADE: Final = {
    "layers": "cut away what its notch leaves inside the mouth", "saw": "saw it out", "rout": "rout it out",
}  # fmt: skip
"""How a recess is made, by its method."""
_UNITS: Final = {"mm": "mm", "in": "inches"}

Section = tuple[str, list[str]]


def sections(summary: Mapping[str, Any]) -> list[Section]:
    """Return what is told in words: headings with their rows.

    Parameters
    ----------
    summary : mapping
        As in summary.json.

    Returns
    -------
    list of tuple of str and list of str
        None of them empty.
    """
    unit = summary["display_unit"]
    found = [
        ("Findings", [
            f"{one['severity']}: {one['where']}: {one['message']}; {one['remedy']}"
            for one in summary["findings"] if one["severity"] != "note"
        ]),
        ("Cautions", [f"{one['about']}: {one['text']}" for one in summary["cautions"] or []]),
        ("To buy", [_bought(one) for one in summary["shopping"] or []]),
        ("In this order", [f"{k}. {row}" for k, row in enumerate(_sequence(summary, unit), start=1)]),
    ]  # fmt: skip
    return [(head, rows) for head, rows in found if rows]


def _bought(one: Mapping[str, Any]) -> str:
    """Return a row of the shopping list."""
    packs = ", ".join(f"{pack['count']} x {pack['size']:g} {one['unit']}" for pack in one["packs"])
    needed = f"{one['needed']:.3g} {one['unit']} needed"
    return f"{one['group']}: {one['name']}, {needed}" + (f", buy {packs}" if packs else "")


def _sequence(summary: Mapping[str, Any], unit: str) -> list[str]:
    """Return what is done, one thing after the other, as far as the summary tells it."""
    told = ["Print this at 100 %; measure the square on the cover both ways before anything is marked out"]
    for sheet in (summary["sheets"] or {}).get("sheets", []):
        names = ", ".join(piece["name"] for piece in sheet["pieces"])
        told.append(
            f"Mark out and saw sheet {sheet['number']}: {names}, as its page lists them from the left"
        )
    if summary["boards"]:
        told.append(f"Mark out and saw the templates from {counted(summary['boards']['count'], 'board')}")
    told += [f"{void['layer']}: saw the hollow out" for void in summary["hollows"] or [] if void["area_m2"]]
    told += [
        f"Glue {' and '.join(joint['between'])} on a flat board ({amount('glue_g', joint['glue_g'], unit)})"
        for joint in summary["joints"] or []
    ]
    pins = summary["pins"] or {"count": 0}
    if pins["count"]:
        told.append(
            f"Drill the pin holes ({format_size(pins['diameter_mm'], unit)}) square, stack all dry on pins"
        )
    told += [
        f"Glue {one['lower_layer']} to {one['upper_layer']} ({amount('glue_g', one['glue_g'], unit)})"
        for one in (summary["glue"] or {}).get("contacts", [])
    ]
    sanding = summary["sanding"] or {}
    if sanding:
        straightedge = format_length(sanding["straightedge_mm"], unit)
        told.append("Guide coat, then sand the panels with a long block to the templates and gauges")
        for one in sanding["blocks"]:
            radius = format_length(one["radius_mm"], unit)
            told.append(f"Block {one['number']}: sand {', '.join(one['edges'])} to R {radius}")
        told.append(f"Look for light under a straightedge of {straightedge}")
    told += [f"{kit['name']}: {_MADE[kit['method']]}" for kit in summary["pocket_patterns"] or []]
    for one in summary.get("hard_points") or []:
        where = "bed it in its pocket" if one["after_ply"] is None else f"lay it on ply {one['after_ply']}"
        told.append(
            f"{one['name']}: cut it of {one['material']}, {where}, {len(one['plies'])} plies over it alone"
        )
    if summary["fit_list"]:
        told.append("Fill in the fit list and compare before any cloth is cut")
    openings = summary.get("openings") or []
    told += [
        f"Lay the template of {one['name']} on the foam and scribe round it"
        for one in openings
        if one["rim"] is None or one["rim"]["lid_mm"] is not None
    ]
    for ply in (summary["schedule"] or {}).get("plies", []):
        told.append(f"Ply {ply['number']}, {ply['name']}: {ply['cloth']} on {', '.join(ply['places'])}")
    told += [f"When it is hard, cut {one['name']} out of the laminate, dust drawn off" for one in openings]
    return told


def cover(
    summary: Mapping[str, Any], drawings: Mapping[str, Drawing], most: int, tall: float, *, path: str
) -> Drawing:
    """Return the cover: a view of the layers' contours, and the sizes.

    Parameters
    ----------
    summary : mapping
        As in summary.json.
    drawings : mapping of str to Drawing
        By path in the folder, those of the layers among them.
    most : int
        Layers, or sheets, of which each has a page.
    tall : float, mm
        Room for it: under it stands the square to measure.
    path : str
        Of the drawing that is returned.

    Returns
    -------
    Drawing
        In mm on the page, its upper left corner at the origin.
    """
    unit = summary["display_unit"]
    rows = [text for row in _cover_rows(summary, most) for text in wrapped(row, _WIDTH, 3.0)]
    title = f"{summary['recipe']['title']}: shop pack"
    builder = DrawingBuilder(path=path, title=title, display_unit=unit)
    builder.write(Label(text=title, at=(0.0, -6.0), height=6.0))
    y = -12.0
    contours = _contours(summary["layers"] or [], drawings)
    if contours:
        box = paths_box(contours)
        high = max(_LEAST_VIEW, min(_VIEW[1], tall - 25.0 - 5.0 * len(rows)))
        scale = max((box[2] - box[0]) / _VIEW[0], (box[3] - box[1]) / high)
        move = np.array((20.0 - box[0] / scale, y - box[3] / scale))
        builder.draw(
            Path(points=one.points / scale + move, bulges=one.bulges, is_closed=True, dxf_layer=one.dxf_layer)
            for one in contours
        )
        y -= (box[3] - box[1]) / scale + 6.0
        builder.write(
            Label(text="The layers seen from above at a slant, not to scale", at=(0.0, y), height=LETTER)
        )
        y -= ROW
    for text in rows:
        y -= 5.0
        builder.write(Label(text=text, at=(0.0, y), height=3.0))
    return builder.drawing()


def _cover_rows(summary: Mapping[str, Any], most: int) -> list[str]:
    """Return what the cover tells under its picture."""
    unit, solid = summary["display_unit"], summary["solid"]
    volume = amount("volume_m3", solid["volume_m3"], unit)
    area = amount("area_m2", solid["area_m2"], unit)
    sizes = [
        format_length(high - low, unit)
        for low, high in zip(solid["bounds_mm"]["from"], solid["bounds_mm"]["to"], strict=True)
    ]
    layers, sheets = len(summary["layers"] or []), len((summary["sheets"] or {}).get("sheets", []))
    rows = [
        f"{sizes[0]} long, {sizes[1]} wide, {sizes[2]} high; {volume}, surface {area}",
        f"{counted(layers, 'layer')}, {counted(len(summary['pieces'] or []), 'piece')}",
        f"All figures in {_UNITS[unit]}. A page shows its part to the scale in its title, and a bar of true "
        "length. What is to be cut is laid out by the figures, never by measuring the page.",
        "Lines across a part are named A, B, C; its table gives their places and what they cross.",
    ]
    return rows + [
        f"{count}: too many for a page each; their drawings are files, or full-size paper if asked for."
        for count, many in ((counted(layers, "layer"), layers), (counted(sheets, "sheet"), sheets))
        if many > most
    ]


def _contours(layers: Sequence[Mapping[str, Any]], drawings: Mapping[str, Drawing]) -> list[Path]:
    """Return the outlines of layers at their places in the plug, in an isometric view at full size."""
    step = max(1, -(-len(layers) // CONTOURS))
    found = []
    for layer in layers[::step]:
        drawing = drawings.get(f"layers/layer-{layer['name'][1:]}")
        for one in () if drawing is None else drawing.paths:
            if one.dxf_layer not in (FINISH_BOTTOM_FACE, FINISH_TOP_FACE):
                continue
            at = layer["from_mm"] if one.dxf_layer == FINISH_BOTTOM_FACE else layer["to_mm"]
            flat = flat_points(one, tolerance=0.5)[:-1]
            plane, axis = {"z": ((0, 1), 2), "x": ((1, 2), 0), "y": ((0, 2), 1)}[layer["axis"]]
            points = np.zeros((len(flat), 3))
            points[:, plane[0]], points[:, plane[1]], points[:, axis] = flat[:, 0], flat[:, 1], at
            x, y, z = points.T
            seen = np.column_stack(((x + y) * np.cos(_SLANT), z + (x - y) * np.sin(_SLANT)))
            found.append(
                Path(points=seen, bulges=np.zeros(len(seen)), is_closed=True, dxf_layer=one.dxf_layer)
            )
    return found


def section_page(section: Section, tall: float, *, path: str) -> list[Drawing]:
    """Return a heading with its rows, on as many drawings as it takes.

    Parameters
    ----------
    section : tuple of str and list of str
    tall : float, mm
        Height of a page.
    path : str
        Of the drawings that are returned, before their number.

    Returns
    -------
    list of Drawing
        In mm on the page, their upper left corners at the origin.
    """
    head, rows = section
    texts = [
        (text, 0.0 if k == 0 else 5.0) for row in rows for k, text in enumerate(wrapped(row, _WIDTH - 5.0))
    ]
    builder = DrawingBuilder(path=path, title=head)
    builder.write(Label(text=head, at=(0.0, -HEAD), height=HEAD))
    for k, (text, x) in enumerate(texts):
        builder.write(Label(text=text, at=(x, -HEAD - 3.0 - (k + 1) * ROW), height=LETTER))
    return continued(builder.drawing(), head, tall)


def fit_pages(summary: Mapping[str, Any], tall: float, *, path: str) -> list[Drawing]:
    """Return the fit list to fill in, on as many drawings as it takes.

    Parameters
    ----------
    summary : mapping
        As in summary.json.
    tall : float, mm
        Height of a page.
    path : str
        Of the drawings that are returned, before their number.

    Returns
    -------
    list of Drawing
        In mm on the page; none without a fit list.
    """
    unit, rows = summary["display_unit"], summary["fit_list"] or []
    told = [["row", "what", "where", "foam", "measured", "finished", "measured"]]
    for row in rows:
        foam, finished = (
            "" if row[key] is None else figure(row[key], unit) for key in ("foam_mm", "finished_mm")
        )
        told.append([str(row["number"]), row["what"], row["place"], foam, "______", finished, "______"])
    laid, found = set_table(told, _WIDTH), list[Drawing]()
    most = int((tall - HEAD - 2.0) / laid.pitch) - 1  # lines to a page under its heads
    pages: list[list[int]] = []
    left = 0
    for k, lines in enumerate(laid.counts[1:], start=1):
        if lines > left:
            pages.append([0])
            left = most
        pages[-1].append(k)
        left -= lines
    for number, some in enumerate(pages):
        builder = DrawingBuilder(path=f"{path}-{number}", title="Fit list")
        head = f"Fit list, {unit}" + (" (continued)" if number else "")
        builder.write(Label(text=head, at=(0.0, -HEAD), height=HEAD))
        write(builder, laid, some, -HEAD - 2.0)
        found.append(builder.drawing())
    return found
