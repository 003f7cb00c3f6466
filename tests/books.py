"""A build book of one of the recipes, from a real build."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from plugs.book.book import book_html
from plugs.book.scene import BookScene, joinings, make_book_scene
from plugs.book.wire import wire_ways
from plugs.drafting.drawing import Drawing
from plugs.drawings import edge_drawings, laid_drawings, layer_drawings, sheet_drawings, template_drawings
from plugs.work import Work, opened
from tests.demos import defaults_of, drawn

ROOT = Path(__file__).resolve().parents[1]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Book:
    """What a book is made of, and the book."""

    work: Work
    summary: dict[str, Any]
    drawings: dict[str, Drawing]
    scene: BookScene
    page: str


def book_of(name: str | Path, **words: object) -> Book:
    """Return the book of a demo, or of any recipe by its path, with some of its parameters."""
    path = name if isinstance(name, Path) else ROOT / "recipes" / f"{name}.py"
    is_demo = isinstance(name, str)
    work = opened(path, words, shelf=defaults_of(name) if is_demo else None)
    makers = (layer_drawings, template_drawings, edge_drawings, sheet_drawings, laid_drawings)
    drawings = drawn(work, *makers)
    summary = work.summary
    scene = make_book_scene(work.looks, work.layers, work.layers_seen, work.templates)
    joined, base = joinings(work.pins.joints), work.base if work.templates else None
    scene = replace(scene, ways=wire_ways(work.wire), joined=joined, base=base)
    return Book(
        work=work, summary=summary, drawings=drawings, scene=scene, page=book_html(summary, drawings, scene)
    )
