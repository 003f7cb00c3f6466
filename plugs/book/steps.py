"""Sections of the build book after the saw: stacking, sanding, recesses, and building it anew."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from typing import Any, Final

from plugs.book.figures import MIDDLING, TALL
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
    steps,
    table,
)
from plugs.book.measuring import gauging
from plugs.book.openings import hard_points
from plugs.book.shopping import pin_lengths
from plugs.book.source import BookSource
from plugs.drafting.styles import GLUE_BOTTOM_FACE, GLUE_TOP_FACE, HOLLOW
from plugs.sanding.sanding import ADVICE

_WHOLE: Final = 1e15  # a float's whole numbers are exact to 9e15

_METHODS: Final = {
    "layers": "in the layers: its notch is in their cut lines, and what is left is cut away after sanding",
    "saw": "sawn out of the glued and sanded plug; the layers are left whole there",
    "rout": "routed into the glued and sanded plug; the layers are left whole there",
}
"""How a recess is made, by its method."""

_FORMS: Final = {
    "form cut": (
        "lies in",
        ": the cut lines have it where it goes right through a sheet; the rest cut away by hand, where a "
        "sheet's face is nearer before it is glued, until its templates (form-...) go in at their stations",
    ),
    "form put on": (
        "stands in the cut lines of",
        ": sanded down until its templates (form-...), offered up at their stations, meet it all round",
    ),
}
"""What is done for a form, by its kind: before the layers, and after the place."""


def stacking(source: BookSource) -> Html:
    """Return how layers are pinned and glued, joint by joint."""
    summary = source.summary
    glue = summary.get("glue") or {}
    contacts = glue.get("contacts") or []
    parts: list[object] = [source.findings("stacking")]
    if glue:
        margin = source.quantity("margin_mm", glue["margin_mm"])
        told = [
            "Keep glue ",
            margin,
            " from the finished surface, where it sands harder than foam: as far as ",
        ]
        parts.append(el("p", *told, f"the lines {GLUE_BOTTOM_FACE} and {GLUE_TOP_FACE} show."))
    shapes = _layer_shapes(source)
    parts += [source.seen("stacking"), listed(_before_glue(source, shapes))]
    pins = {one["number"]: len(one["pins"]) for one in (summary.get("pins") or {}).get("contacts") or []}
    parts.append(cards(_joint(source, row, shapes, pins.get(row["number"])) for row in contacts))
    if contacts:
        words = "Left under weights until the glue has set, as its data sheet says"
        parts.append(listed([step("glue-set", words, what=[*shapes.values()])]))
    return joined([*parts, folded("All joints and pins in tables", _joints(source, contacts), _pins(source))])


def _layer_shapes(source: BookSource) -> dict[str, Any]:
    """Return the shape of each layer by its name."""
    rows = source.rows("layers")
    paths = source.paths("layers", [row["name"] for row in rows])
    return {row["name"]: source.shape(path, ("PINS",)) for row, path in zip(rows, paths, strict=True)}


def _before_glue(source: BookSource, shapes: Mapping[str, Any]) -> list[Html]:
    """Return what is done to the pieces before layers are glued to one another."""
    summary = source.summary
    done = []
    if any(not row.get("line") for row in source.rows("templates")):
        words = "Templates stood on the base plan, slots together, plumb, square to the centreline, screwed"
        done.append(step("stand", words, what=[source.shape(path) for path in source.of("templates")]))
    for void in summary.get("hollows") or []:
        if void["area_m2"]:
            words = f"{void['layer']}: what is marked {HOLLOW} sawn out"
            done.append(step("void", words, what=shapes.get(void["layer"])))
    for joint in summary.get("joints") or []:
        glue = source.quantity("glue_g", joint["glue_g"])
        words = f"{joint['name']}: {' and '.join(joint['between'])} glued on a flat board, "
        what = [shapes.get(joint["layer"]), joint.get("at_mm"), glue]
        done.append(step("joint", words, glue, " of glue", what=what))
    lengths = pin_lengths(summary)
    if lengths:
        rod = source.quantity("diameter_mm", summary["pins"]["diameter_mm"])
        cut = joined(
            (joined([f"{n} of ", source.quantity("length_mm", long)]) for long, n in lengths.items()), ", "
        )
        pins = [contact["pins"] for contact in summary["pins"]["contacts"]]
        where = [[pin["at_mm"], pin["lower_depth_mm"]] for row in pins for pin in row]
        holes = joined(["Pin holes of ", rod, " drilled square, each as deep as its layer's drawing says"])
        done += [
            step("pins-drilled", holes, what=[where, *shapes.values()]),
            step("pins-cut", "Pins cut from rod of ", rod, ": ", cut),
            step("dry", "All layers stacked dry on their pins, edges looked over", what=[*shapes.values()]),
        ]
    return done


def _joint(source: BookSource, row: Mapping[str, Any], shapes: Mapping[str, Any], n_pins: int | None) -> Html:
    """Return the card of a joint between two layers."""
    both = [row["lower_layer"], row["upper_layer"]]
    sizes = (
        ("Joint at", source.quantity("at_mm", row["at_mm"])),
        ("Glue", source.known(row, "glue_g")),
        ("Pins", n_pins),
    )
    words = (el("strong", f"{both[0]} to {both[1]}"), " glued")
    return card(step("glue", *words, what=[shapes.get(name) for name in both]), sizes=sizes)


def _joints(source: BookSource, contacts: Sequence[Mapping[str, Any]]) -> Html:
    """Return every joint with its areas."""
    columns = (
        ("number", "Joint"), ("lower_layer", "Lower"), ("upper_layer", "Upper"), ("at_mm", "At"),
        ("contact_m2", "Contact area"), ("glued_m2", "Glued area"), ("glue_g", "Glue"),
    )  # fmt: skip
    return quantities_table("Joints, in the order of gluing", columns, contacts, source.unit)


def _pins(source: BookSource) -> Html:
    """Return every pin with its place."""
    axes = {"x": "y, z", "y": "x, z", "z": "x, y"}.get(source.scene.axis, "x, y")
    pins = [
        pin | {"number": contact["number"]}
        for contact in (source.summary.get("pins") or {}).get("contacts") or []
        for pin in contact["pins"]
    ]
    columns = (
        ("name", "Pin"), ("number", "Joint"), ("at_mm", f"At {axes}"),
        ("lower_depth_mm", "Hole depth, lower layer"), ("upper_depth_mm", "Hole depth, upper layer"),
        ("length_mm", "Length"),
    )  # fmt: skip
    return quantities_table("Where the pins stand", columns, pins, source.unit)


def sanding(source: BookSource) -> Html:
    """Return how the foam is sanded: on its board, panel by panel, edge by edge, then by its gauges."""
    figures = source.summary.get("sanding") or {}
    panels, blocks = figures.get("panels") or [], figures.get("blocks") or []
    drawn = source.of("sanding")
    maps = [path for path in drawn if path.endswith("sanding-map")]
    paths = source.paths("sanding", [row["name"] for row in blocks])
    edge = joined([
        "Straightedge often, ", source.quantity("s_mm", figures.get("straightedge_mm")),
        " or the panel's own length: along and across the gap beneath it is told; less than ",
        source.quantity("d_mm", figures.get("gap_allowed_mm")), " counts as straight.",
    ]) if panels else None  # fmt: skip
    parts: list[object] = [
        source.findings("sanding"),
        folded(
            "Sanding map: which panels are straight which way",
            None if maps else source.seen("sanding"),
            *(source.drawn(path, drawn[path], height=TALL, as_drawn=True) for path in maps),
        ),
        listed(_on_the_board(source)),
        el("p", edge) if edge else None,
        cards(_panel(source, row) for row in panels),
        cards(_block(source, *one) for one in zip(blocks, paths, strict=True)),
        source.others("sanding", {*maps, *paths}),
        gauging(source, "foam"),
        folded("All radius blocks in a table", _blocks(source, blocks)),
    ]
    return joined(parts)


def _on_the_board(source: BookSource) -> list[Html]:
    """Return how the glued plug stands when it is sanded, and what shows where the block does not touch."""
    is_gauged = any(row.get("line") == "foam" for row in source.rows("templates"))
    is_inside = any(not row.get("line") for row in source.rows("templates"))
    done = [
        (
            "board",
            f"Plug stood on the building board, {source.centreline} and stations over those of the base plan",
        )
    ]
    if not (is_gauged or is_inside or source.of("base")):
        done = [
            (
                "board",
                f"Plug stood on a flat board and held, {source.centreline} and stations drawn on it and on "
                "the foam",
            )
        ]
    if is_inside:
        words = "Templates looked over: plumb, square, clean of glue; their edges are what is sanded to"
        done.append(("plumb", words))
    dust = "Guide coat dusted on, chalk or charcoal, no solvent, again after each pass: where it stays is low"
    return [step(*one, what=[*one, source.whole]) for one in [*done, ("guide-coat", dust)]]


def _panel(source: BookSource, row: Mapping[str, Any]) -> Html:
    """Return the card of a panel's bay that is sanded straight."""
    sizes = (
        ("", source.reach("x", row["from_x_mm"], row["to_x_mm"])),
        ("Along", _gap(source, row.get("lengthwise"))),
        ("across", _gap(source, row.get("crosswise"))),
    )
    bay = f", bay {row['bay']}" if row.get("bay") else ""
    words = (el("strong", f"{row['panel']}{bay}"), f" sanded, {ADVICE.get(row['kind'], row['kind'])}")
    return card(step("sand", *words, what=[row["panel"], *sizes]), sizes=sizes)


def _block(source: BookSource, row: Mapping[str, Any], path: str) -> Html:
    """Return the card of a radius block, made and used."""
    edges, way = ", ".join(row["edges"]), "hollowed" if row["is_inside"] else "rounded"
    sizes = (
        ("Radius", source.quantity("radius_mm", row["radius_mm"])),
        ("Arc", source.quantity("arc_deg", row["arc_deg"])),
        ("Flats", source.quantity("flat_mm", row["flat_mm"])),
    )
    words = (el("strong", f"B{row['number']} {row['name']}"), f": block made, {edges} {way} with it")
    note = el("p", row["note"], class_="note") if row["note"] else None
    return card(step("block", *words, what=[edges, *sizes]), source.picture(path), note, sizes=sizes)


def _blocks(source: BookSource, rows: Sequence[Mapping[str, Any]]) -> Html:
    """Return all radius blocks as a table."""
    columns = (
        ("name", "Block"), ("radius_mm", "Radius"), ("arc_deg", "Arc"), ("is_inside", "Inside edge"),
        ("flat_mm", "Flats"), ("edges", "Edges"), ("note", "Note"),
    )  # fmt: skip
    return quantities_table("Radius blocks", columns, rows, source.unit)


def _gap(source: BookSource, gap: Mapping[str, Any] | None) -> Html | None:
    """Return a gap and the straightedge it is under."""
    if gap is None:
        return None
    return joined(
        [
            source.quantity("gap_mm", gap["gap_mm"]),
            " in ",
            source.quantity("edge_mm", gap["straightedge_mm"]),
        ]
    )


def recesses(source: BookSource) -> Html:
    """Return how each recess is cut and lined."""
    parts: list[object] = [source.findings("recess")]
    kits = source.rows("pocket_patterns")
    paths = source.paths("recess", [row["name"] for row in kits])
    for kit, path in zip(kits, paths, strict=True):
        picture = source.picture(path)
        parts += [el("h3", kit["name"]), el("div", picture, class_="beside") if picture else None]
        what = [source.shape(path), kit["depth_mm"], kit["wall_lean_deg"], kit["method"]]
        rows = enumerate(_recess_steps(source, kit))
        parts.append(listed(step(f"recess-{n}", words, what=[what, words]) for n, words in rows))
        pieces = _cloth_for(source, kit["name"])
        if pieces:
            parts.append(el("p", f"Its cloth, under Laminate: {', '.join(pieces)}."))
        parts.append(folded("Measures", _measures(source, kit)))
    pieces = source.paths("recess", [row["name"] for row in source.rows("hard_points")])
    parts += [hard_points(source), _features(source)]
    parts.append(source.others("recess", {*paths, *pieces}, height=MIDDLING))
    return joined(parts)


def _measures(source: BookSource, kit: Mapping[str, Any]) -> Html:
    """Return the measures of a recess."""
    pairs: list[tuple[str, object]] = [
        ("Made", _METHODS.get(kit["method"], kit["method"])),
        ("So, because", kit["why"]),
    ]
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
        ("floor_fillet_mm", "Fillet at the floor"), ("mouth_radius_mm", "Edge of the mouth rounded to"),
        ("over_edge_mm", "Off its panel by"), ("kerf_mm", "Kerf"), ("set_back_mm", "Block set back by"),
    )  # fmt: skip
    pairs += [(words, source.known(kit, name)) for name, words in names]
    play = kit.get("gap_round_mm")
    if play is not None:
        told = source.quantity("gap_round_mm", abs(play))
        pairs.append(
            (
                "Fit of the block",
                joined(["plane ", told, " off each side"] if play < 0.0 else [told, " free on each side"]),
            )
        )
    return pairs_list(pairs)


def _recess_steps(source: BookSource, kit: Mapping[str, Any]) -> list[object]:
    """Return what is done for one recess, in order."""
    told = None if kit["depth_mm"] is None else source.quantity("depth_mm", kit["depth_mm"])
    deep = ["right through"] if told is None else [told, " deep"]
    done: list[object] = ["mouth marked from the template, level checked"]
    if kit["over_edge_mm"] is not None:
        over = source.quantity("_mm", kit["over_edge_mm"])
        done.append(
            joined(
                [
                    "it runs off the flat of its panel by ",
                    over,
                    ": its lines carried on square to the template",
                ]
            )
        )
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
        done.append(
            "cut round, right through what lies behind, the saw leaning as told (blade guarded, hands clear, "
            "the plug held fast, dust drawn off)"
        )
        if kit["block"] == "by wire":
            done.append(
                joined([f"{kit['name']} block, cut by wire, glued in, its face ", *deep, "; its glue set"])
            )
        elif told is not None:
            done.append("block set back and glued, what stands out behind cut off")
    if told is not None:
        done.append("floor flat, fillet left or filled in, walls sanded")
    if kit["mouth_radius_mm"] is not None:
        done.append(
            joined(["edge of the mouth rounded to R ", source.quantity("_mm", kit["mouth_radius_mm"])])
        )
    return done


def _features(source: BookSource) -> Html:
    """Return what is done for each boss, each form and each shape of the recipe's own."""
    rows = []
    words: list[object]
    seats = {seat["name"]: [seat] for seat in source.rows("seats")}
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
            for seat in seats.get(one["name"], ()):
                words += [
                    ", a straightedge lying flat on it every way: it carries ",
                    _rounded(source, seat["holds_mm"]),
                ]
                words += [" with ", source.quantity("_mm", seat["clearance_mm"]), " all round"]
            if one["foot_radius_mm"] is not None:
                words += [", its foot hollowed to R ", source.quantity("_mm", one["foot_radius_mm"])]
        elif one["kind"] in _FORMS:
            words = [f" {_FORMS[one['kind']][0]} {layers}, ", place, _FORMS[one["kind"]][1]]
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
    return joined([el("h3", "Bosses, forms and shapes of its own"), steps(rows)]) if rows else Html("")


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


def anew(source: BookSource) -> Html:
    """Return how to build with other numbers, the parameters, and the files."""
    recipe, parameters = source.summary["recipe"], source.summary.get("parameters") or {}
    rows = [(name, "–" if value is None else _value(value)) for name, value in parameters.items()]
    words = ["python -m plugs build", shlex.quote(recipe["file"])]
    names = [name for name in recipe.get("changed") or [] if parameters[name] is not None]
    command = " ".join([*words, *(_set(name, parameters[name]) for name in names)])
    parts: list[object] = [
        el("p", "In the folder that holds the recipe, after a change of it:"),
        el("pre", el("code", command)),
    ]
    number = next(
        (n for n, v in parameters.items() if isinstance(v, int | float) and not isinstance(v, bool)), None
    )
    if number is not None:
        parts.append(el("p", "With another value of one parameter:"))
        parts.append(el("pre", el("code", f"{command} {_set(number, parameters[number])}")))
    parts.append(folded("Parameters", table("As in the recipe (lengths in mm)", ("Name", "Value"), rows)))
    digest = el("code", recipe["sha256"])
    files = [(el("code", row["path"]), round(row["bytes"] / 1000.0)) for row in source.rows("files")]
    sizes = [(name, f"{max(1, size)} kB") for name, size in files]
    told = el("p", f"This book is of {recipe['file']}, SHA-256 ", digest, ".", class_="note")
    return joined(
        [*parts, folded("Files", told, table("Files of this build", ("File", "Size"), sizes), on_paper=False)]
    )


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
