"""The section of the build book by which the real thing is measured: the fit list, with blanks."""

from __future__ import annotations

from typing import Final

from plugs.book.html import Html, el, joined, table
from plugs.book.source import BookSource
from plugs.sanding.fit_list import EDGE, GAP, HALF_BREADTH, HEIGHT, LENGTH

_KINDS: Final = {
    HALF_BREADTH: "Half-breadths: level, from the centreline square out to the surface",
    HEIGHT: "Heights: plumb, from the baseline up to the top",
    LENGTH: "Lengths: level, from station 0 to the rear, minus in front of it",
    EDGE: "Mating edges: the one length that is not given, from where its axis begins",
    GAP: "Straightedge: the largest gap where it is laid so, + crown, − hollow",
}


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
        tables.append(table(caption, heads, told))
    recipe = source.summary["recipe"]
    words = [
        "What a person with a tape measures on the plug, and again on the part. The baseline is z = 0 of the "
        "recipe, station 0 is x = 0. Write what you find into ",
        el("code", "templates/fit-list.csv"),
        ", leave empty what you did not measure, and have it compared: ",
        el("code", f"python -m plugs compare {recipe['file'] or recipe['name']} fit-list.csv"),
        ". It says where to take off, and where to fill.",
    ]
    return joined([el("p", *words), *tables])
