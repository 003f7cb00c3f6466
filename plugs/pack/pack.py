"""The shop pack as a PDF: cover, words, a page a part to scale, and small things together at full size."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np

from plugs.drafting.drawing import Box, Drawing, Label, Path, drawing_bounds
from plugs.drafting.styles import BLOCK_CUT
from plugs.ground.paper import MEASURES, Paper, paper_of
from plugs.ground.records import record
from plugs.pack.cloth import cloth_pages
from plugs.pack.scaled import APART, scaled_pages, sheet_page
from plugs.pack.words import CONTOURS, cover, fit_pages, section_page, sections
from plugs.paper.map import MapSheet
from plugs.paper.marks import footer, square
from plugs.paper.pages import PagePlan, plan_pages
from plugs.paper.pdf import render_pdf
from plugs.paper.tiling import best_grid, sketch_of

_LARGEST: Final = 432.0  # mm. Larger paper, and rolls, hang over no bench: the pack is on A4 then
MOST: Final = 100
"""Layers, or sheets, of which each has a page: nobody leafs through more, and files cut them."""

_PAGED: Final = (("sheets/", "Sheet"), ("templates/board-", "Template board"), ("layers/", "Layer"))
"""What there may be many of: how their drawings' paths begin, and what their pages are titled."""

_CLOTH_GAP: Final = 5.0  # mm. Between what one page tells of cloth


_Laid = tuple[Drawing, float]
"""A drawing on a page, and how far it goes up there, mm."""


@record(frozen=True, slots=True, kw_only=True)
class PackJob:
    """What a shop pack is made of.

    Attributes
    ----------
    summary : mapping
        As in summary.json.
    drawings : mapping of str to Drawing
        By path in the folder, without ending, at least those that are `paged`.
    paper : Paper
        That the recipe names.
    """

    summary: Mapping[str, Any]
    drawings: Mapping[str, Drawing]
    paper: Paper


def paged(drawings: Mapping[str, Drawing]) -> dict[str, Drawing]:
    """Return of some drawings those that the pack shows: of more layers than `MOST`, a few for its cover.

    Parameters
    ----------
    drawings : mapping of str to Drawing
        By path in the folder, without ending: all that there are.

    Returns
    -------
    dict of str to Drawing
        Likewise.
    """
    stems = {folder: [stem for stem in drawings if stem.startswith(folder)] for folder, _ in _PAGED}
    kept = stems["layers/"][:: max(1, -(-len(stems["layers/"]) // CONTOURS))]
    gone = {stem for own in stems.values() if len(own) > MOST for stem in own} - {*kept}
    return {stem: drawing for stem, drawing in drawings.items() if stem not in gone}


def pack_pdf(job: PackJob) -> tuple[bytes, int]:
    """Return the shop pack.

    Parameters
    ----------
    job : PackJob

    Returns
    -------
    tuple of bytes and int
        The PDF, and how many pages it has.
    """
    sheets, small, plan = pack_pages(job)
    text = render_pdf(small, plan, title=_title(job), maps=sheets)
    return text, len(sheets) + len(plan.pages)


def pack_pages(job: PackJob) -> tuple[list[MapSheet], list[Drawing], PagePlan]:
    """Return the pages of the shop pack.

    Parameters
    ----------
    job : PackJob

    Returns
    -------
    tuple of list of MapSheet, list of Drawing and PagePlan
        Cover, words, parts to scale and the fit list; what is traced round at full size; where that goes.
    """
    paper, unit = pack_paper(job.paper, job.summary["display_unit"]), job.summary["display_unit"]
    x0, y0, x1, y1 = paper.window((paper.width, paper.height))
    found = list(parts_of(job))
    room = (x1 - x0, y1 - y0)
    parts = _paired([scaled_pages(one, title, room, unit, path=f"pack/{one.path}") for title, one in found])
    parts += [sheet_page(one, title, unit, path=f"pack/{one.path}") for title, one in _at_machines(job)]
    traced = [alone for _, one in found if (alone := _traced(one)) is not None]
    small = [alone for alone in traced if _is_small(alone, paper)]
    words = [
        one
        for k, section in enumerate(sections(job.summary))
        for one in section_page(section, room[1], path=f"w{k}")
    ]
    front = cover(job.summary, job.drawings, MOST, room[1] - MEASURES[unit][0] - 6.0, path="cover")
    cloth = list(cloth_pages(job.summary, job.drawings, path="cloth"))
    pages = [
        [(front, 0.0)],
        *_flowed([*words, *parts], y1 - y0),
        *_flowed(cloth, y1 - y0, gap=_CLOTH_GAP),
        *_flowed(fit_pages(job.summary, room[1], path="fit"), y1 - y0),
    ]
    plan = plan_pages(small, paper, unit)
    plan = replace(plan, pages=tuple(replace(page, square=None) for page in plan.pages))
    n_pages = len(pages) + len(plan.pages)
    sheets = [
        _sheet(paper, page, number, n_pages, _title(job), unit) for number, page in enumerate(pages, start=1)
    ]
    return sheets, small, plan


def _paired(
    parts: Sequence[tuple[Callable[[], list[Drawing]], Callable[[], Drawing] | None]],
) -> list[Drawing]:
    """Return parts as they follow each other: two that can share a page as they share it, others alone."""
    found, k = list[Drawing](), 0
    while k < len(parts):
        halves = [half for _, half in parts[k : k + 2] if half is not None]
        found += [half() for half in halves] if len(halves) == 2 else parts[k][0]()
        k += 2 if len(halves) == 2 else 1
    return found


def _title(job: PackJob) -> str:
    """Return what every page is headed."""
    return f"{job.summary['recipe']['title']}, shop pack"


def pack_paper(paper: Paper, unit: str) -> Paper:
    """Return what the pack is printed on: the recipe's paper if a bench printer takes it.

    Parameters
    ----------
    paper : Paper
    unit : str
        ``"mm"`` or ``"in"``.

    Returns
    -------
    Paper
    """
    if paper.is_roll or paper.height > _LARGEST:
        return paper_of("Letter" if unit == "in" else "A4")
    return paper


def parts_of(job: PackJob) -> Iterator[tuple[str, Drawing]]:
    """Yield what has a page of its own, or is small, in the order in which it is made.

    Parameters
    ----------
    job : PackJob

    Yields
    ------
    tuple of str and Drawing
        Its title, and its drawing at full size.
    """
    n_layers = len(job.summary["layers"] or ())
    for folder, word in _PAGED:
        stems = [stem for stem in job.drawings if stem.startswith(folder)]
        for stem in stems if (n_layers if folder == "layers/" else len(stems)) <= MOST else ():
            number = stem.rpartition("-")[2]
            yield f"{word} {f'L{number}' if folder == 'layers/' else int(number)}", job.drawings[stem]
    for stem, drawing in job.drawings.items():
        name = stem.removeprefix("templates/")
        if stem.startswith("templates/") and not name.startswith(("board-", "sanding-map")):
            yield name.replace("-", " ").capitalize(), drawing


def _at_machines(job: PackJob) -> list[tuple[str, Drawing]]:
    """Return the sheets that go to wire cutter and router, a page each, with their titles."""
    found = [
        (f"At the {machine}: {drawing.name.removesuffix('-sheet')}", drawing)
        for folder, machine in (("wire/", "wire cutter"), ("router/", "router"))
        for stem, drawing in job.drawings.items()
        if stem.startswith(folder) and stem.endswith("-sheet")
    ]
    return found if len(found) <= MOST else []


def _traced(drawing: Drawing) -> Drawing | None:
    """Return of a radius block what is traced round: its end, without its length and its notes."""
    paths = tuple(path for path in drawing.paths if path.dxf_layer == BLOCK_CUT)
    return replace(drawing, paths=paths, labels=()) if paths else None


def _is_small(drawing: Drawing, paper: Paper) -> bool:
    """Return whether a drawing with its notes has room on one page at full size."""
    grid = best_grid(sketch_of(drawing), paper)
    return len(grid.kept) == 1 and grid.has_notes


def _flowed(drawings: Sequence[Drawing], room: float, gap: float = APART) -> list[list[_Laid]]:
    """Return drawings page by page, one under the other while there is room, each with how far it goes up."""
    pages, left = list[list[_Laid]](), 0.0
    for drawing in drawings:
        tall = -drawing_bounds(drawing)[1]
        if not pages or tall > left:
            pages.append([])
            left = room
        pages[-1].append((drawing, left - room))
        left -= tall + gap
    return pages


def _moved(laid: _Laid, corner: tuple[float, float]) -> tuple[list[Path], list[Label]]:
    """Return lines and words of a drawing moved up, and to the corner of a page."""
    (drawing, up), (x, y) = laid, corner
    paths = [
        Path(
            points=one.points + np.array((0.0, up)) + np.array(corner),
            bulges=one.bulges,
            is_closed=one.is_closed,
            dxf_layer=one.dxf_layer,
        )
        for one in drawing.paths
    ]
    labels = [
        Label(
            text=one.text,
            at=(one.at[0] + x, one.at[1] + up + y),
            height=one.height,
            dxf_layer=one.dxf_layer,
            align=one.align,
        )
        for one in drawing.labels
    ]
    return paths, labels


def _sheet(paper: Paper, page: Sequence[_Laid], number: int, n_pages: int, title: str, unit: str) -> MapSheet:
    """Return a page with what is on it and its foot; the first has the square to measure."""
    size = (paper.width, paper.height)
    window: Box = paper.window(size)
    paths, labels = footer(size, window, (f"Page {number} of {n_pages}", title), unit)
    if number == 1:
        side, _ = MEASURES[unit]
        more, words = square((window[2] - side - 1.0, window[1] + 2.0), unit)
        paths, labels = paths + more, labels + words
    whole_paths, whole_labels = list[Path](paths), list[Label](labels)
    for laid in page:
        paths, labels = _moved(laid, (window[0], window[3]))
        whole_paths += paths
        whole_labels += labels
    drawing = Drawing(
        path=f"pack-{number}", title=title, paths=tuple(whole_paths), labels=tuple(whole_labels)
    )
    return MapSheet(size=size, drawing=drawing)
