"""The page of a comparison: the plug, turnable, coloured by how high and how low it is, and what to do."""

from __future__ import annotations

import base64
import hashlib
import json
from argparse import Namespace
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.book.book import page_html
from plugs.book.html import Html, el, joined, pairs_list, table
from plugs.book.parts import viewer
from plugs.book.scene import BookScene, SceneMesh
from plugs.book.source import BookSource
from plugs.book.views import View, sharp_edges
from plugs.comparing.colours import BANDS, PALETTE, limit_of, tints_of, with_sign
from plugs.comparing.comparison import FOAM, Comparison
from plugs.comparing.corrected import Corrected, corrected, write_new
from plugs.comparing.edges import Edge, measured_edge
from plugs.comparing.order import Words, begun_by, side_by_side, written
from plugs.comparing.places import high_or_low
from plugs.comparing.strips import strips_of
from plugs.files.svg import render_svg
from plugs.ground.figures import told
from plugs.ground.records import record
from plugs.ground.units import format_fine, format_length, parse_length
from plugs.mesh.named import NamedMesh
from plugs.pictures.canvas import load_library
from plugs.pictures.tinted import Sides, tinted_png, two_sides
from plugs.sanding.fit_list import HEIGHT
from plugs.stages.worked import Worked
from plugs.words.ways import called


def told_and_written(work: Worked, options: Namespace) -> list[str]:
    """Compare, write the comparison into a folder of its own, and return what a person is told.

    Parameters
    ----------
    work : Worked
    options : argparse.Namespace
        As `plugs.terminal.comparing` adds them, and the recipe.

    Returns
    -------
    list of str

    Raises
    ------
    PlugError
        What was measured cannot be read or laid on the plug, or the folder cannot be written.
    """
    home = options.out or Path("exports") / f"{options.recipe.stem}-compared"
    words = Words(
        against=options.against,
        by=options.by,
        datums=options.datums,
        lock=tuple(options.lock),
        unit=options.unit,
        tolerance=parse_length(options.tolerance, param="--tolerance"),
    )
    with begun_by(work, options.measured, words) as one:
        shown = shown_of(one.cells.vertices, one.cells.triangles) if len(one.measured.points) else None
        stations = sorted({row.x for row in work.fit_list if row.what == HEIGHT and row.x is not None})
        found = one.found()
    made = None if options.table is None else corrected(work, found)
    edge = None if options.edge is None else measured_edge(work, found)
    for text, path, option in ((made, options.table, "--table"), (edge, options.edge, "--edge")):
        if text is not None:
            write_new(text.text, path, option)
    body = (work.body if words.against == FOAM else work.finish).body
    strips = {f"{one.path}.svg": render_svg(one).encode() for one in strips_of(found, body, tuple(stations))}
    folder = written(found, home, options.measured.stem, comparison_files(found, shown) | strips)
    rows = [*found.told(), *side_by_side(home), *_table_rows(made, options.table, found.unit)]
    return [*rows, *_edge_rows(edge, options.edge, found.unit), f"written   {folder}"]


def _table_rows(made: Corrected | None, path: Path | None, unit: str) -> list[str]:
    """Return what is told of a new table of offsets."""
    if made is None or path is None:
        return []
    return [
        *(f"changed   {row}" for row in made.changes or ("nothing",)),
        f"table     {path}: made by it, the points are off by {_off_words(made, unit)}",
        f'          in the recipe: stations=stations_of(read_table(Path(__file__).with_name("{path.name}")))',
    ]


def _edge_rows(edge: Edge | None, path: Path | None, unit: str) -> list[str]:
    """Return what is told of a new contour of a mating face."""
    if edge is None or path is None:
        return []
    one, other = edge.axes
    return [
        *(f"changed   {row}" for row in edge.changes or ("nothing",)),
        f"contour   {path}: made by it, what was measured of the edge is off by {_off_words(edge, unit)}",
        f"          in the recipe, as the contour of {edge.name}: "
        f'read_outline(Path(__file__).with_name("{path.name}"), columns=("{one}", "{other}")).points',
    ]


def _off_words(made: Corrected | Edge, unit: str) -> str:
    """Return how far what was measured is off, made by what is new and by the recipe as it is."""
    after, worst, before = (format_fine(v, unit) for v in (made.after_mm, made.worst_mm, made.before_mm))
    return f"{after} rms, {worst} at most; by the recipe as it is, by {before} rms"


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Shown:
    """What is shown of a plug, before it has colours.

    Attributes
    ----------
    sides : Sides
    edges : (k, 2) int
        Numbers of vertices: where its surface turns sharply.
    """

    sides: Sides
    edges: NDArray[np.int64]


def shown_of(vertices: NDArray[np.float64], triangles: NDArray[np.int64]) -> Shown:
    """Return what is shown of a plug, before its cells have colours."""
    load_library()
    mesh = NamedMesh(name="map", vertices=vertices, triangles=triangles, colour=PALETTE[-1])
    return Shown(sides=two_sides(mesh), edges=sharp_edges(vertices, triangles)[0])


def comparison_files(found: Comparison, shown: Shown | None = None) -> dict[str, bytes]:
    """Return the picture of a comparison, and its page.

    Parameters
    ----------
    found : Comparison
    shown : Shown or None
        Of its cells, where that is known.

    Returns
    -------
    dict of str to bytes
        By their names: PNG, where any points were measured; HTML, one file that works without a network.
    """
    limit = limit_of(found)
    tints = tints_of(found.field, limit)
    cells = found.field.cells
    shown = shown or shown_of(cells.vertices, cells.triangles)
    picture = _map(found, shown.sides, tints, limit) if len(found.off) else b""
    scene = _scene(found, shown.edges, tints)
    source = BookSource(
        summary={"recipe": {"title": found.plug_name}, "display_unit": found.unit},
        drawings={},
        scene=scene,
        pictures={"map": picture} if picture else {},
    )
    figures = json.dumps(told(found.figures()), sort_keys=True)
    page = page_html(
        f"{found.plug_name}, {found.measured.name} compared",
        f"plugs:{found.plug_name}:{hashlib.sha256(figures.encode()).hexdigest()[:16]}",
        scene,
        el("header", el("p", "Comparison", class_="lead"), el("h1", found.plug_name)),
        el("main", *_sections(found, source, limit, picture)),
    )
    return {"comparison.html": page.encode()} | ({"map.png": picture} if picture else {})


def _map(found: Comparison, sides: Sides, tints: NDArray[np.uint8], limit: float) -> bytes:
    """Return the plug from two sides, coloured."""
    ends = [with_sign(limit * (2.0 * k / BANDS - 1.0), found.unit) for k in range(BANDS + 1)]
    line = "foam" if found.ask.against == FOAM else "finished surface"
    said = called()
    seen = f"{said.from_rear} {said.right}, {said.from_front} {said.left}"
    caption = f"{found.measured.name} on the {line}: + high, - low; {seen}"
    return tinted_png(sides, tints, PALETTE, (ends, "not measured", caption))


def _scene(found: Comparison, edges: NDArray[np.int64], tints: NDArray[np.uint8]) -> BookScene:
    """Return what the page turns: the coloured plug."""
    cells = found.field.cells
    mesh = SceneMesh(
        name="map",
        group="foam" if found.ask.against == FOAM else "finish",
        vertices=cells.vertices.astype(np.float32),
        triangles=cells.triangles.astype(np.uint32),
        edges=edges.astype(np.uint32),
        tints=tints,
    )
    none = View(axis="x", outline=shapely.MultiPolygon(), edges=np.empty((0, 2, 2)))
    return BookScene(meshes=(mesh,), views=(none, none, none), axis="z", palette=PALETTE)


def _sections(found: Comparison, source: BookSource, limit: float, picture: bytes) -> list[Html]:
    """Return the sections of the page."""
    unit = found.unit
    rows = [row.split(None, 1) for row in found.told()]
    said = el("ul", *(el("li", " ".join(row)) for row in rows if row))
    parts = [el("section", el("h2", "What was found"), said, id="about")]
    if picture:
        key = el(
            "p",
            *(
                el(
                    "span",
                    f" {with_sign(limit * (2.0 * (k + 0.5) / BANDS - 1.0), unit)} ",
                    style=f"background:{c};color:#000",
                )
                for k, c in enumerate(PALETTE[:-1])
            ),
            el("span", " not measured ", style=f"background:{PALETTE[-1]};color:#000"),
        )
        image = "data:image/png;base64," + base64.b64encode(picture).decode("ascii")
        words = "The plug from two sides, coloured by how high and how low it is"
        still = el("img", src=image, alt=words, style="width:100%")
        shown = joined([viewer(source), key, still])
        parts.append(el("section", el("h2", "Where it is high and low"), shown, id="map"))
    places = [
        (i, one.place, high_or_low(one.patch.peak, unit), one.advice)
        for i, one in enumerate(found.worst, start=1)
    ]
    told_places = table(
        "Places out of tolerance, the worst first", ("", "Place", "Off", "What to do"), places
    )
    gaps = [
        (
            f"{g.panel}, {g.place}",
            with_sign(g.expected, unit),
            with_sign(g.measured, unit),
            with_sign(g.measured - g.expected, unit),
        )
        for g in found.gaps
    ]
    told_gaps = table("Under a straightedge, + crown, − hollow", ("Place", "Drawn", "Measured", "Off"), gaps)
    edges = [(one.place, with_sign(one.off, unit)) for one in found.edges]
    told_edges = table("Mating edges, + too long, − too short", ("Place", "Off"), edges)
    whole = pairs_list([("A place is right within", format_length(found.ask.tolerance, unit))], "Tolerance")
    parts.append(el("section", el("h2", "What to do"), told_places, told_gaps, told_edges, whole, id="work"))
    return parts
