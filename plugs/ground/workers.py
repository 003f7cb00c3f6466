"""How a Python process of our own is started beside the build: what it runs, and in which environment."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Final

_ASKED_BY_LIBRARIES: Final = ("RL_", "EZDXF_", "SOURCE_DATE_EPOCH")
"""Heads of variables by which the libraries for paper and drawings change what they write."""


def command(module: str, *words: str) -> list[str]:
    """Return the command that runs a module of ours, whatever lies in the present folder.

    Parameters
    ----------
    module : str
        Its full name.
    words : str
        What it is given.

    Returns
    -------
    list of str
    """
    return [sys.executable, "-P", "-m", module, *words]


def environment() -> dict[str, str]:
    """Return the environment of such a process: it finds this package, and writes the same bytes anywhere.

    Returns
    -------
    dict of str to str
    """
    root = str(Path(__file__).resolve().parents[2])
    kept = {name: value for name, value in os.environ.items() if not name.startswith(_ASKED_BY_LIBRARIES)}
    return kept | {"PYTHONPATH": os.pathsep.join([root, *filter(None, [os.environ.get("PYTHONPATH")])])}
