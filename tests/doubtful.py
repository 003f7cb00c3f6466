"""Small plugs that can be built and are told something about, worked out in the same process."""

from __future__ import annotations

from pathlib import Path

import plugs
from plugs.stages.shelf import Shelf
from plugs.work import Work, opened

_RECIPE = """from plugs import {names}

def box(length={length}, width={width}, height={height}, radius={radius}, xs={xs}):
    low = lambda: Corner(0.5 * width, 0.0, 0.0)
    return Plug(
        name="Box", panels=("floor", "side", "deck"),
        stations=[Station(x=x, corners={{"low": low(), "high": Corner(0.5 * width, height, radius)}})
                  for x in xs or (0.0, length)],
        {words}
    )
"""


def work_of(
    folder: Path,
    *,
    length: float = 300.0,
    width: float = 200.0,
    height: float = 100.0,
    radius: float = 0.0,
    xs: tuple[float, ...] = (),
    shelf: Shelf | None = None,
    **words: str,
) -> Work:
    """Return a box worked out; each further word of its recipe is given as it is written there."""
    path = folder / "box.py"
    text = _RECIPE.format(
        names=", ".join(plugs.__all__),
        length=length,
        width=width,
        height=height,
        radius=radius,
        xs=xs,
        words=" ".join(f"{word}={value}," for word, value in words.items()),
    )
    path.write_text(text, encoding="utf-8")
    return opened(path, {}, shelf=shelf)
