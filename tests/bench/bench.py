"""How fast it is, and how much memory it takes, beside the import of CadQuery alone on this machine.

Run as ``python -m tests.bench.bench``; ``--runs 9`` for steadier medians, ``--quick`` for one of each,
``--rows check layers`` for some rows. Needs the packages of the tests. The targets are the house's own,
no outside source. Memory is asked of Linux only.

Figures in x are by the clock, so they want a quiet machine: where others work too, look at the processor's
seconds, which are those of all processes of a command, but for saves, where they are the watch's own. The
import is timed anew for each recipe, in turns with its commands. Modules are compiled before the first run.
"""

from __future__ import annotations

import argparse
import compileall
import tempfile
from collections.abc import Sequence
from pathlib import Path

from tests.bench import commands, growth, saves
from tests.bench.outlines import outlines
from tests.bench.runs import ROOT
from tests.bench.table import head

_GROWTH = ("stacks", "thousand", "stations", "measured", "chance")
_ROWS = (*commands.ROWS, *saves.ROWS, *_GROWTH, "outlines")


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description="time the demos and what they stand on")
    parser.add_argument("--runs", type=int, default=5, help="of each; medians are shown")
    parser.add_argument("--quick", action="store_true", help="one of each")
    parser.add_argument(
        "--rows", nargs="+", choices=_ROWS, default=_ROWS, metavar="ROW", help=", ".join(_ROWS)
    )
    options = parser.parse_args(arguments)
    runs = 1 if options.quick else options.runs
    compileall.compile_dir(ROOT / "plugs", quiet=1)
    print(f"median of {runs} alternating runs; x is times the import of cadquery alone unless it is said")
    head()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if cold := [key for key in commands.ROWS if key in options.rows]:
            commands.commands(cold, folder, runs)
        if saved := [key for key in saves.ROWS if key in options.rows]:
            saves.saves(saved, folder, runs)
        for key, make in {
            "stacks": lambda: growth.stacks(runs),
            "thousand": lambda: growth.thousand(folder),
            "stations": lambda: growth.stations(folder),
            "measured": lambda: growth.measured(folder, runs),
            "chance": lambda: growth.chance(folder),
            "outlines": lambda: outlines(runs),
        }.items():
            if key in options.rows:
                make()


if __name__ == "__main__":
    main()
