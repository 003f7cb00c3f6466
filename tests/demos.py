"""The demo recipes worked out once for all tests of a process that only look at them."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from functools import cache
from pathlib import Path

from plugs.drafting.drawing import Drawing
from plugs.drawings import (
    bow_drawings,
    cloth_drawings,
    edge_drawings,
    laid_drawings,
    layer_drawings,
    sheet_drawings,
    slot_drawings,
    template_drawings,
)
from plugs.files.written import FileList
from plugs.stages.shelf import Shelf
from plugs.work import Work, opened

RECIPES = Path(__file__).resolve().parents[1] / "recipes"

EVERY = "PLUGS_CASES" in os.environ
"""Whether all demos are tried, and each end of every range: else what bounds the tests' time in the CI."""


def some(demos: Sequence[str], count: int) -> Sequence[str]:
    """Return so many of some demos, the first; all where every one is asked for."""
    return demos if EVERY else demos[:count]


class Reader(Shelf):
    """What another shelf holds: stages are taken from it, and none is left there."""

    def __init__(self, other: Shelf) -> None:
        """Look into another shelf, as it is whenever something is asked for."""
        super().__init__()
        self._kept, self._made = other._kept, other._made

    def put(self, name: str, key: bytes, value: object) -> None:
        """Leave nothing."""

    def leave(self, name: str, reads: object, key: bytes, made: object) -> None:
        """Leave nothing."""


@cache
def shelf_of(demo: str) -> Shelf:
    """Return the shelf on which a demo's stages lie as they come to at its defaults."""
    return Shelf()


@cache
def at_defaults(demo: str) -> Work:
    """Return a demo worked out at its defaults, without files."""
    return opened(RECIPES / f"{demo}.py", {}, shelf=shelf_of(demo))


def drawn(work: Work, *makers: Callable[[Work], dict[str, Drawing]]) -> dict[str, Drawing]:
    """Return what is drawn of a work, by path; what its shelf has is not drawn anew, as in a build."""
    return {path: one for make in makers for path, one in work.again(make.__name__, make).items()}


@cache
def drawings_at_defaults(demo: str) -> dict[str, Drawing]:
    """Return all that a build of a demo draws, by path."""
    return drawn(
        at_defaults(demo), layer_drawings, template_drawings, edge_drawings, sheet_drawings,
        cloth_drawings, laid_drawings, bow_drawings, slot_drawings,
    )  # fmt: skip


def defaults_of(demo: str) -> Reader:
    """Return what a demo comes to at its defaults, for a build or a work that takes from it what is the same.

    Nothing is worked out for it but what was already asked for.
    """
    at_defaults(demo)
    return Reader(shelf_of(demo))


def changed(demo: str, changes: dict[str, object]) -> Work:
    """Return a demo with other parameters; what follows from none is the defaults' work."""
    return opened(RECIPES / f"{demo}.py", changes, shelf=Reader(shelf_of(demo)))


def listed(paths: Iterable[str]) -> FileList:
    """Return the list of a build's files, all of them empty and none written."""
    files = FileList()
    files.add(dict.fromkeys(paths, b""))
    return files
