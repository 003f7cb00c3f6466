"""The words that the command to compare takes."""

from __future__ import annotations

import argparse
from pathlib import Path


def add_changes(command: argparse.ArgumentParser) -> None:
    """Let a command be told parameters of the recipe.

    Parameters
    ----------
    command : argparse.ArgumentParser
    """
    command.add_argument(
        "--set",
        action="append",
        default=[],
        metavar="NAME=VALUE",
        dest="changes",
        help='change a parameter: width=450, "width=3/4 in"; may be repeated',
    )


def add_options(command: argparse.ArgumentParser) -> None:
    """Let the command to compare be told what is compared, and how.

    Parameters
    ----------
    command : argparse.ArgumentParser
    """
    command.add_argument("recipe", type=Path, help="the recipe file")
    add_changes(command)
    command.add_argument("measured", type=Path, help="filled-in fit list, points, gaps (CSV), or a scan")
    command.add_argument("--against", default="finished", help="foam or finished, the default")
    command.add_argument("--by", help="probed, datums or best (fit): how it is laid on the plug")
    command.add_argument("--datums", type=Path, help="CSV file: x, y, z as measured, plug x, plug y, plug z")
    command.add_argument("--lock", action="append", default=[], help="board, or x, y, z, about-x, ...")
    command.add_argument("--unit", help="of a file that does not say: mm, cm, m or in")
    command.add_argument("--tolerance", default="0.5", help="by so much a place may be off; 0.5 mm")
    command.add_argument("--table", type=Path, help="write a new table of offsets by what was measured")
    command.add_argument(
        "--edge", type=Path, help="write a new contour of a mating face by what was measured"
    )
    command.add_argument("--out", type=Path, help="folder of the comparisons, not exports/NAME-compared")
