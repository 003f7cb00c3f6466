"""Build a recipe: the order in which it is opened, its sheets searched for if that is asked, and written."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from functools import cache, partial
from pathlib import Path

from plugs.ground.errors import PlugError
from plugs.ground.workers import Crew
from plugs.nesting.stored import store_sheets, stored
from plugs.stages.shelf import Shelf
from plugs.stages.stage import Say
from plugs.summary.summary import Built
from plugs.work import Work, opened
from plugs.writing import OpenKernel, chosen_outputs, kernel_started, write


def build(
    path: Path,
    overrides: Mapping[str, object],
    *,
    out: Path | None = None,
    kinds: Sequence[str] | None = None,
    without: Sequence[str] = (),
    search: float | None = None,
    say: Say = lambda _: None,
    open_kernel: OpenKernel | None = None,
    shelf: Shelf | None = None,
    crew: Crew | None = None,
    paper: Sequence[str] | None = None,
) -> Built:
    """Build a recipe and write its folder, or leave the last good one untouched.

    Parameters
    ----------
    path : Path
        The recipe.
    overrides : mapping of str to object
    out : Path or None
        The folder; by default ``exports/NAME`` under the present one.
    kinds, without : sequence of str or None
        Which kinds of file to write, the house's or the recipe's own, None for all; which to leave out.
    search : float or None, s
        Time to search for better sheets, which are then stored beside the recipe.
    say : callable
        Told what is being done.
    open_kernel : callable or None
        Gives the kernel; by default one is started, and ended with the build.
    shelf : Shelf or None
        Where stages of the build before are found.
    crew : Crew or None
        Draws, and stays; by default processes are started for that, and ended with the build.
    paper : sequence of str or None
        What is printed at full size; None for what the recipe says.

    Returns
    -------
    Built

    Raises
    ------
    PlugError
        Something cannot be built or written, or is asked for that nobody writes.
    """
    say("recipe")
    with ExitStack() as after:
        kernel = cache(lambda: after.enter_context((open_kernel or kernel_started)()))
        work = opened(path, overrides, say=say, open_kernel=kernel, shelf=shelf or Shelf())
        chosen = [output.kind for output in chosen_outputs(work.plug, kinds, without)]
        keep = None
        if search is not None:
            store_sheets(path, None)
            say("search")
            record = _searched(work, search)
            work = work.with_sheets(json.loads(record))
            keep = partial(store_sheets, path, record)
        return write(work, out or Path("exports") / path.stem, chosen, kernel, keep, crew, paper)


def _searched(work: Work, seconds: float) -> str:
    """Return the record of the sheets that a search finds.

    Raises
    ------
    PlugError
        The recipe lists no stock.
    """
    from plugs.nesting.searched import nest_searched

    plug = work.plug
    if not plug.stock:
        raise PlugError(
            param="--search",
            value=seconds,
            reason="the recipe lists no stock, so there are no sheets to arrange",
            remedy="give stock=[Stock(width=2500.0, height=1250.0, thickness=50.0)] first",
        )
    found = nest_searched(work.blanks, plug.stock, plug.cutting, seconds=seconds)
    return json.dumps(stored(found, work.blanks, plug.stock, plug.cutting), indent=1) + "\n"
