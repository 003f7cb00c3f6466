"""Sections of the build book after the saw: stacking, sanding, recesses, fit, and building it anew."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from typing import Any, Final

from plugs.book.figures import SMALL, TALL
from plugs.book.html import Html, el, joined, pairs_table, quantities_table, step, steps, table
from plugs.book.shopping import pin_lengths
from plugs.book.source import BookSource
from plugs.ground.units import format_within
from plugs.words.ways import called

_WHOLE: Final = 1e15  # a float's whole numbers are exact to 9e15

_METHODS: Final = {
    "layers": "in the layers: its notch is in their cut lines, and what is left is cut away after sanding",
    "saw": "sawn out of the glued and sanded plug; the layers are left whole there",
    "rout": "routed into the glued and sanded plug; the layers are left whole there",
}
"""How a recess is made, by its method."""


def stacking(source: BookSource) -> Html:
    """Return how layers are pinned and glued."""
    summary = source.summary
    glue, contacts = summary.get("glue") or {}, (summary.get("glue") or {}).get("contacts") or []
    parts: list[object] = [source.findings("stacking")]
    if glue:
        margin = source.quantity("margin_mm", glue["margin_mm"])
        told = [
            "Keep glue ",
            margin,
            " from the finished surface: it sands harder than foam. The lines GLUE_BOTTOM_FACE and ",
        ]
        parts.append(el("p", *told, "GLUE_TOP_FACE of each layer show how far glue may go."))
    lengths = pin_lengths(summary)
    if lengths:
        rows = [(source.quantity("length_mm", length), str(count)) for length, count in lengths.items()]
        diameter = source.quantity("diameter_mm", summary["pins"]["diameter_mm"])
        parts.append(table(joined(["Pins to cut, of rod ", diameter, " thick"]), ("Length", "Pins"), rows))
    parts.append(steps(_before_glue(source, has_pins=bool(lengths))))
    columns = (
        ("number", "Joint"), ("lower_layer", "Lower"), ("upper_layer", "Upper"), ("at_mm", "At"),
        ("touching_m2", "Touching"), ("glued_m2", "Glued"), ("glue_g", "Glue"),
    )  # fmt: skip
    parts.append(
        quantities_table(
            "Joints, in the order of gluing", columns, contacts, source.unit,
            lambda row: step(f"glue-{row['number']}", f"{row['lower_layer']} to {row['upper_layer']} glued"),
        )
    )  # fmt: skip
    parts.append(_pins(source))
    return joined(parts)


def _before_glue(source: BookSource, *, has_pins: bool) -> list[tuple[str, object]]:
    """Return what is done to the pieces before layers are glued to one another."""
    summary = source.summary
    done: list[tuple[str, object]] = [
        (f"void-{void['layer']}", f"{void['layer']}: what is marked HOLLOW sawn out")
        for void in summary.get("voids") or []
        if void["area_m2"]
    ]
    done += [
        (
            f"joint-{joint['name']}",
            joined(
                [
                    f"{joint['name']}: {' and '.join(joint['between'])} glued on a flat board, ",
                    source.quantity("glue_g", joint["glue_g"]),
                    " of glue",
                ]
            ),
        )
        for joint in summary.get("joints") or []
    ]
    if has_pins:
        done += [
            ("pins-drilled", "Pin holes drilled square, each as deep as told below"),
            ("pins-cut", "Pins cut to length"),
            ("dry", "All layers stacked dry on their pins, edges looked over"),
        ]
    return done


def _pins(source: BookSource) -> Html:
    """Return every pin with its place."""
    axes = {"x": "y, z", "y": "x, z", "z": "x, y"}.get(source.scene.axis, "x, y")
    pins = [
        pin | {"number": contact["number"]}
        for contact in (source.summary.get("pins") or {}).get("contacts") or []
        for pin in contact["pins"]
    ]
    columns = (
        ("name", "Pin"), ("number", "Joint"), ("at_mm", f"At {axes}"), ("lower_depth_mm", "Deep below"),
        ("upper_depth_mm", "Deep above"), ("length_mm", "Length"),
    )  # fmt: skip
    return quantities_table("Where the pins stand", columns, pins, source.unit)


def sanding(source: BookSource) -> Html:
    """Return how the foam is sanded: map, blocks, and the gaps under a straightedge."""
    figures = source.summary.get("sanding") or {}
    panels = figures.get("panels") or []
    parts: list[object] = [source.findings("sanding"), source.seen("sanding")]
    drawn = source.of("sanding")
    parts += [
        source.drawn(path, one, height=TALL, as_drawn=True)
        for path, one in drawn.items()
        if path.endswith("sanding-map")
    ]
    rows = [
        (
            step(f"sand-{k}", f"{row['panel']}, bay {row.get('bay', '')}"),
            joined(
                [source.quantity("x_mm", row["from_x_mm"]), " to ", source.quantity("x_mm", row["to_x_mm"])]
            ),
            row["kind"],
            _gap(source, row.get("lengthwise")),
            _gap(source, row.get("crosswise")),
            source.quantity("twist_mm", row.get("twist_mm")),
        )
        for k, row in enumerate(panels)
    ]
    heads = ("Panel", "x", "Straight", "Gap lengthwise", "Gap crosswise", "Twist")
    if rows:
        edge = joined([
            "Gap under a straightedge of ", source.quantity("s_mm", figures.get("straightedge_mm")),
            " or the panel's own length; less than ", source.quantity("d_mm", figures.get("gap_allowed_mm")),
            " counts as straight",
        ])  # fmt: skip
        parts.append(table(edge, heads, rows))
    columns = (
        ("name", "Block"), ("radius_mm", "Radius"), ("arc_deg", "Arc"), ("is_inside", "Inside edge"),
        ("flat_mm", "Flats"), ("edges", "Edges"), ("note", "Note"),
    )  # fmt: skip
    parts.append(
        quantities_table(
            "Radius blocks", columns, figures.get("blocks") or [], source.unit,
            lambda row: step(f"block-{row['number']}", f"B{row['number']} {row['name']}"),
        )
    )  # fmt: skip
    parts += [
        source.drawn(path, one, height=SMALL)
        for path, one in drawn.items()
        if not path.endswith("sanding-map")
    ]
    parts.append(gauging(source, "foam"))
    return joined(parts)


def gauging(source: BookSource, line: str) -> Html | None:
    """Return the steps by which gauges are offered up to a surface.

    Parameters
    ----------
    line : str
        "foam" or "finished".

    Returns
    -------
    Html or None
        None without gauges of that line.
    """
    rows = [row for row in source.rows("templates") if row.get("line") == line]
    if not rows:
        return None
    daylight = (source.summary.get("sanding") or {}).get("gap_allowed_mm") or 0.0
    done = []
    for row in rows:
        place = "station x = " if row["kind"] == "station gauge" else f"{called().lengthwise} y = "
        way = f"brought up {called().seen_from(row['part'])} until it meets its other half"
        way = "brought down from above until it stands there" if row["part"] == "top" else way
        words = joined([
            f"{row['name']} on the baseboard between the lines of {place}",
            source.quantity("at_mm", row["at_mm"]), f", {way}: sanded down where it bears "
            "before that, and there is nowhere more light under its edge than ",
            source.quantity("gap_mm", row["gap_mm"] + daylight),
        ])  # fmt: skip
        done.append((f"gauge-{row['name']}", words))
    return joined([el("h3", f"Gauges of the {line} line"), steps(done)])


def _gap(source: BookSource, gap: Mapping[str, Any] | None) -> object:
    """Return a gap and the straightedge it is under."""
    if gap is None:
        return "–"
    return joined(
        [
            source.quantity("gap_mm", gap["gap_mm"]),
            " under ",
            source.quantity("edge_mm", gap["straightedge_mm"]),
        ]
    )


def recesses(source: BookSource) -> Html:
    """Return how each recess is cut and lined."""
    parts: list[object] = [source.findings("recess")]
    for k, kit in enumerate(source.rows("pocket_patterns"), start=1):
        parts.append(el("h3", kit["name"]))
        pairs: list[tuple[str, object]] = [("Made", _METHODS.get(kit["method"], kit["method"]))]
        pairs.append(("Reaches into", ", ".join(kit["layers"]) or None))
        pairs += [
            (words, _rounded(source, kit.get(f"{word}_mm")))
            for word, words in (
                ("mouth", "Mouth"), ("cut", "Cut"), ("floor", "Floor"), ("flat", "Finished floor flat"),
                ("holds", "Holds"),
            )
        ]  # fmt: skip
        names = (
            ("clearance_mm", "With all round"), ("depth_mm", "Deep"), ("wall_lean_deg", "Walls lean"),
            ("floor_fillet_mm", "Fillet at the floor"), ("kerf_mm", "Kerf"),
            ("set_back_mm", "Block set back by"), ("play_mm", "Play of the block"),
        )  # fmt: skip
        pairs += [
            (words, None if kit.get(name) is None else source.quantity(name, kit[name]))
            for name, words in names
        ]
        parts.append(pairs_table("Measures", pairs))
        done = _recess_steps(source, kit)
        parts.append(
            steps([(f"recess-{k}-{n}", joined([kit["name"], ": ", words])) for n, words in enumerate(done)])
        )
        pieces = _cloth_for(source, kit["name"])
        if pieces:
            parts.append(el("p", f"Its cloth, in the section on the skin: {', '.join(pieces)}."))
    parts.append(_features(source))
    parts.append(source.figures("recess", height=SMALL))
    return joined(parts)


def _recess_steps(source: BookSource, kit: Mapping[str, Any]) -> list[object]:
    """Return what is done for one recess, in order."""
    told = None if kit["depth_mm"] is None else source.quantity("depth_mm", kit["depth_mm"])
    deep = ["right through"] if told is None else [told, " deep"]
    done: list[object] = ["mouth marked from the template, level checked"]
    notched, rest = kit["notched_layers"], [n for n in kit["layers"] if n not in kit["notched_layers"]]
    if kit["method"] == "layers":
        all_of = f" ({', '.join(rest)} have no notch)" if rest else ""
        done.insert(0, f"its notch looked for in {', '.join(notched)}: it was in their cut lines")
        cut = [
            f"what is left there cut away{all_of}, inside the mouth, ",
            *deep,
            ", the walls leaning as told",
        ]
        done.append(joined(cut))
    elif kit["method"] == "rout":
        minded = " (extraction, eyes and ears guarded, the plug held fast)"
        done.append(joined(["routed inside the floor line, ", *deep, minded]))
        done.append("walls trimmed out to the mouth, leaning as told")
    else:
        done.append("cut round, the saw leaning as told")
        if told is not None:
            done.append("block set back and glued, what stands out behind cut off")
    if told is not None:
        done.append("floor flat, fillet left or filled in, walls sanded")
    return done


def _features(source: BookSource) -> Html:
    """Return what is done for each boss and each shape of the recipe's own."""
    rows = []
    for k, one in enumerate(source.rows("features"), start=1):
        layers = ", ".join(one["layers"])
        place = joined(
            ["from x, y, z = ", _point(source, one["from_mm"]), " to ", _point(source, one["to_mm"])]
        )
        if one["kind"] == "boss":
            size = joined(
                [" the top ", _rounded(source, one["top_mm"]), ", ", source.quantity("_mm", one["rise_mm"])]
            )
            words = [
                f" stands in the cut lines of {layers}: the panel sanded down round it,",
                size,
                " over it",
            ]
        elif one["kind"] == "added":
            words = [
                f" stands in the cut lines of {layers}, ",
                place,
                ": shaped by hand to foam.stl, no template",
            ]
        else:
            words = [
                f" lies in {layers}, ", place, ": the cut lines have it where it goes right through; the "
                "rest cut away by hand after gluing, to foam.stl",
            ]  # fmt: skip
        rows.append((f"feature-{k}", joined([one["name"], *words])))
    return joined([el("h3", "Bosses and shapes of its own"), steps(rows)]) if rows else Html("")


def _point(source: BookSource, at: Sequence[float]) -> Html:
    """Return a place."""
    return joined([source.quantity("_mm", value) for value in at], ", ")


def _cloth_for(source: BookSource, name: str) -> list[str]:
    """Return the pieces of cloth that cover a recess."""
    cloth = source.summary.get("cloth") or {}
    places = (f"{name} floor", f"{name} wall")
    zones = [zone["name"] for zone in cloth.get("zones", ()) if any(p in zone["places"] for p in places)]
    return [
        piece["name"] for roll in cloth.get("rolls", ()) for piece in roll["pieces"] if piece["zone"] in zones
    ]


def _rounded(source: BookSource, shape: Mapping[str, float] | None) -> Html | None:
    """Return a rounded rectangle's size."""
    if shape is None:
        return None
    width, height, radius = (
        source.quantity("_mm", shape[name]) for name in ("width", "height", "corner_radius")
    )
    return joined([width, " x ", height, ", corners R ", radius])


def fit(source: BookSource) -> Html:
    """Return what is checked on the finished part: mating faces, thickness, main sizes."""
    parts: list[object] = [source.findings("fit")]
    columns = (
        ("name", "Mating face"), ("gap_mm", "Gap"), ("edge_length_mm", "Edge"), ("face_area_m2", "Area"),
        ("measured_points", "Points"), ("rms_miss_mm", "Miss, rms"), ("largest_miss_mm", "Largest miss"),
        ("largest_miss_place_mm", "At x, y, z"),
    )  # fmt: skip
    mating = source.rows("mating")
    parts.append(
        quantities_table(
            "Mating faces",
            columns,
            mating,
            source.unit,
            lambda row: step(f"fit-{row['name']}", row["name"], " tried"),
        )
    )
    parts.append(source.figures("fit"))
    skin = source.summary.get("skin") or {}
    if "largest_deviation_mm" in skin:
        told = joined([
            "The foam lies under the finished surface by skin and filler, within ",
            format_within(skin["largest_deviation_mm"], source.unit),
            f", measured at {skin['points_measured']} places.",
        ])  # fmt: skip
        parts.append(el("p", told))
    done = [
        ("check-length", "Length, breadth and height measured against the three views"),
        ("check-centreline", "Both sides measured from the centreline at each station"),
    ]
    parts.append(gauging(source, "finished"))
    if source.rows("pocket_patterns"):
        done.append(("check-recess", "What goes into each recess tried in it"))
    parts.append(steps(done))
    return joined(parts)


def anew(source: BookSource) -> Html:
    """Return the parameters, how to build with others, and the files."""
    recipe, parameters = source.summary["recipe"], source.summary.get("parameters") or {}
    rows = [(name, "–" if value is None else _value(value)) for name, value in parameters.items()]
    command = " ".join(
        ["python -m plugs build", shlex.quote(recipe["file"])]
        + [
            _set(name, parameters[name])
            for name in recipe.get("changed") or []
            if parameters[name] is not None
        ]
    )
    parts: list[object] = [
        table("Parameters, as in the recipe (lengths in mm)", ("Name", "Value"), rows),
        el("p", "To build it anew after a change of the recipe, in the folder that holds the recipe:"),
        el("pre", el("code", command)),
    ]
    number = next(
        (n for n, v in parameters.items() if isinstance(v, int | float) and not isinstance(v, bool)), None
    )
    if number is not None:
        parts.append(el("p", "With another value of one parameter:"))
        parts.append(el("pre", el("code", f"{command} {_set(number, parameters[number])}")))
    digest = el("code", recipe["sha256"])
    parts.append(el("p", f"This book is of {recipe['file']}, SHA-256 ", digest, ".", class_="note"))
    files = source.rows("files")
    listed = table(
        "Files of this build", ("File", "Size"),
        [(el("code", file["path"]), f"{max(1, round(file['bytes'] / 1000.0))} kB") for file in files],
    )  # fmt: skip
    parts.append(listed)
    return joined(parts)


def _set(name: str, value: object) -> str:
    """Return the words that set a parameter on the command line of a shell."""
    return f"--set {shlex.quote(f'{name}={_value(value)}')}"


def _value(value: object) -> str:
    """Return a parameter as it is written on the command line."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return repr(int(value)) if value.is_integer() and abs(value) < _WHOLE else repr(value)
    return ", ".join(_value(item) for item in value) if isinstance(value, list | tuple) else str(value)


def more(source: BookSource) -> Html:
    """Return the drawings that belong to no section."""
    return source.figures("more")
