"""Sections of the build book by which the real thing is held to its lines: gauges, fit, fit list."""

from __future__ import annotations

import shlex
from collections.abc import Mapping
from typing import Any, Final

from plugs.book.html import (
    Html,
    card,
    cards,
    el,
    folded,
    joined,
    quantities_table,
    step,
    steps,
    table,
)
from plugs.book.source import BookSource
from plugs.ground.amounts import counted
from plugs.ground.units import format_within
from plugs.sanding.fit_list import EDGE, GAP, HALF_BREADTH, HEIGHT, LENGTH
from plugs.words.ways import called

_KINDS: Final = {
    HALF_BREADTH: "Half-breadths: level, from the centreline square out to the surface",
    HEIGHT: "Heights: plumb, from the baseline up to the top",
    LENGTH: "Lengths: level, from station 0 {rearward}, minus in front of it",
    EDGE: "Mating edges: the one length that is not given, from where its axis begins",
    GAP: "Straightedge: the largest gap where it is laid so, + crown, − hollow",
}

_ALONG: Final = {
    ("plan", HALF_BREADTH): "Half-breadths: level, from the curve square out to the surface",
    ("side", HALF_BREADTH): "Half-breadths: level, in planes square to the curve, so far over it",
    ("side", HEIGHT): "Heights: square to the curve, from it up to the surface",
}
"""The same of a plug along a curve, by the view in which that bends."""


def gauging(source: BookSource, line: str) -> Html | None:
    """Return the cards by which gauges are offered up to a surface.

    Parameters
    ----------
    line : str
        "foam" or "finished".

    Returns
    -------
    Html or None
        None without gauges of that line.
    """
    rows = source.rows("templates")
    mine = [
        one
        for one in zip(rows, source.paths("templates", [row["name"] for row in rows]), strict=True)
        if one[0].get("line") == line
    ]
    if not mine:
        return None
    daylight = (source.summary.get("sanding") or {}).get("gap_allowed_mm") or 0.0
    is_leaning = source.along is not None and source.along["view"] == "side"
    way = (
        "Each is held square to the curve, its foot level with the underside there, and is moved in "
        if is_leaning
        else "Each stands on the baseboard at its line and is moved in level "
    )
    words = (
        f"{way}until it meets its other half; one for the top comes down from above. Sand down where it "
        "bears before it is home; then no more light shows under its edge than told."
    )
    told = None if line == "finished" else el("p", words)
    made = []
    for row, path in mine:
        way = "from above" if row["part"] == "top" else called().seen_from(row["part"])
        sizes = (
            (
                f"{called().lengthwise.capitalize()} y"
                if row["kind"] != "station gauge"
                else "Station x"
                if source.along is None
                else "Along the curve",
                source.quantity("at_mm", row["at_mm"]),
            ),
            ("Light, at most", source.quantity("gap_mm", row["gap_mm"] + daylight)),
        )
        box = step("gauge", el("strong", row["name"]), f" {way}", what=[source.shape(path), *sizes])
        made.append(card(box, sizes=sizes))
    flush = {f"{row['name']} pocket" for row in source.rows("hard_points")}
    names = [row["name"] for row in source.rows("pocket_patterns")]
    over = ", ".join(name for name in names if name not in flush)
    passed = el("p", f"Their edges pass over {over}: light there, once it is made, tells nothing.")
    return joined([el("h3", f"Gauges of the {line} line"), told, passed if over else None, cards(made)])


def fit(source: BookSource) -> Html:
    """Return what is checked on the finished part: gauges, mating faces, thickness, main sizes."""
    columns = (
        ("name", "Mating face"), ("gap_mm", "Gap"), ("edge_length_mm", "Edge"), ("face_area_m2", "Area"),
        ("measured_points", "Points"), ("rms_error_mm", "Error, rms"), ("largest_error_mm", "Largest error"),
        ("largest_error_place_mm", "At x, y, z"),
    )  # fmt: skip
    mating = source.rows("mating")
    paths = source.paths("fit", [row["name"] for row in mating])
    done = [
        ("check-length", "Length, breadth and height measured against the three views"),
        ("check-centreline", f"Both sides measured from the {source.centreline} at each station"),
    ]
    if source.rows("pocket_patterns"):
        done.append(("check-recess", "What goes into each recess tried in it"))
    done += [
        (
            f"check-hard-{row['name']}",
            f"What is fixed at {row['name']} offered up"
            + (f"; {counted(len(row['holes']), 'hole')}" if row["holes"] else ""),
        )
        for row in source.rows("hard_points")
    ]
    parts: list[object] = [
        source.findings("fit"),
        gauging(source, "finished"),
        steps(done, source.whole),
        cards(_mating(source, *one) for one in zip(mating, paths, strict=True)),
        source.others("fit", paths),
        folded("Mating faces in a table", quantities_table("Mating faces", columns, mating, source.unit)),
    ]
    skin = source.summary.get("skin") or {}
    if "largest_deviation_mm" in skin:
        told = joined([
            "The foam lies under the finished surface by laminate and filler, within ",
            format_within(skin["largest_deviation_mm"], source.unit),
            f", measured at {skin['points_measured']} places.",
        ])  # fmt: skip
        parts.append(el("p", told, class_="note"))
    return joined(parts)


def _mating(source: BookSource, row: Mapping[str, Any], path: str) -> Html:
    """Return the card of a mating face that is tried on what it meets."""
    sizes = (
        ("Gap", source.quantity("gap_mm", row["gap_mm"])),
        ("Edge", source.known(row, "edge_length_mm")),
        ("Largest error", source.known(row, "largest_error_mm")),
    )
    box = step(
        "mating", el("strong", row["name"]), " tried on what it meets", what=[source.shape(path), *sizes]
    )
    return card(box, source.picture(path), sizes=sizes)


def measuring(source: BookSource) -> Html:
    """Return the fit list: what is measured on the foam and on the finished part, and what it should come to.

    Parameters
    ----------
    source : BookSource

    Returns
    -------
    Html
        Empty without one.
    """
    rows = source.rows("fit_list")
    if not rows:
        return Html("")
    has_skin = any(row["finished_mm"] not in (None, row["foam_mm"]) for row in rows)
    lines = [("foam", "foam_mm"), *([("finished", "finished_mm")] if has_skin else [])]
    heads = (
        "Row",
        "Place",
        *(word.capitalize() for word, _ in lines),
        *(f"{word.capitalize()}, measured" for word, _ in lines),
    )
    tables = []
    for what, caption in _KINDS.items():
        told = [
            (
                row["number"],
                f"{row['panel']}, {row['place']}" if what == GAP else row["place"],
                *(source.quantity("_mm", row[key]) for _, key in lines),
                *("" for _ in lines),
            )
            for row in rows
            if row["what"] == what
        ]
        words = _ALONG.get((str((source.along or {}).get("view")), what), caption)
        tables.append(table(words.format(rearward=called().rearward), heads, told))
    recipe = source.summary["recipe"]
    bent = "Along a curve half-breadths and heights are told so far along it; lengths are not measured. "
    how = [
        "What a person with a tape measures on the plug, and again on the part. The baseline is z = 0 of the "
        "recipe, station 0 is x = 0. ",
        None if source.along is None else bent,
        "Write what you find into ",
        el("code", "templates/fit-list.csv"),
        ", leave empty what you did not measure, and have it compared, in the folder of the recipe, "
        "with that file beside it:",
    ]
    command = f"python -m plugs compare {shlex.quote(recipe['file'] or recipe['name'])} fit-list.csv"
    done = [(f"measured-{word}", f"Measured on the {word} line, and compared") for word, _ in lines]
    return joined(
        [
            el("p", *how),
            el("pre", el("code", command)),
            el("p", "It says where to take off, and where to fill."),
            steps(done, source.whole),
            folded(f"What to measure, {len(rows)} places", *tables),
        ]
    )
