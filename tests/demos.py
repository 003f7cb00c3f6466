"""The demo recipes worked out once for all tests of a process that only look at them."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from plugs.work import Work, opened

RECIPES = Path(__file__).resolve().parents[1] / "recipes"


@cache
def at_defaults(demo: str) -> Work:
    """Return a demo worked out at its defaults, without files."""
    return opened(RECIPES / f"{demo}.py", {})
