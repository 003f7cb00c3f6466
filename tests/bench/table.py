"""The rows of the table, printed as they come."""

from __future__ import annotations

from tests.bench.runs import Taken

_WIDTHS = (54, 14, 9, 9, 9, 12, 12)


def _line(*cells: str) -> None:
    """Print cells in columns: words to the left, numbers to the right."""
    first, second, *rest = zip(cells, _WIDTHS, strict=False)
    numbers = "".join(f"{cell:>{width}}" for cell, width in rest)
    print(f"{first[0]:<{first[1]}}{second[0]:<{second[1]}}{numbers}", flush=True)


def head() -> None:
    """Print what the columns are."""
    _line("what", "recipe", "clock s", "CPU s", "peak MB", "figure", "  asked")


def row(
    words: str,
    recipe: str,
    figure: float | None = None,
    asked: float | None = None,
    *,
    taken: Taken | None = None,
    memory: float = 0.0,
    unit: str = "x",
    at_least: bool = False,
) -> None:
    """Print a row, with whether its figure is no more than what is asked (or no less)."""
    times = ("", "") if taken is None else (f"{taken.seconds:.2f}", f"{taken.cpu_s:.2f}")
    shown = "" if figure is None else f"{figure:.3g} {unit}"
    bound = "" if asked is None else f"  {'>=' if at_least else '<='} {asked:g} {unit}"
    verdict = ""
    if figure is not None and asked is not None:
        verdict = "  met" if (figure >= asked if at_least else figure <= asked) else "  MISSED"
    _line(words, recipe, *times, f"{memory:.0f}" if memory else "", shown, bound + verdict)
