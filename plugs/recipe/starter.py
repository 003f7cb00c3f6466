"""The starter recipe: what `plugs new` writes, a small hump to change into something else."""

from __future__ import annotations

import keyword
import re
from pathlib import Path
from typing import Final

from plugs.ground.errors import PlugError
from plugs.recipe.machine_starter import MACHINE

_KEPT: Final = re.compile("plugs|con|prn|aux|nul|com[0-9]|lpt[0-9]")
"""This program's own name, and those of devices that some systems keep (from memory)."""

_LONGEST_NAME: Final = 60
"""A name longer than this is no name for a file that people type."""

_TEXT: Final = '''"""A plug drawn station by station: change the numbers, build again.

Lengths are in millimetres. Inches are written inch(3.5), with
"from plugs import inch" beside the names below; from the command line any
length will do: --set "length=15 3/4 in".

    x  runs to the rear from station 0
    y  is the half-breadth, measured from the centreline to the right
    z  is the height over the baseline
"""

from plugs import Corner, End, Plug, Recess, Stack, Station


def @FUNCTION@(length=400.0, width=300.0, height=120.0, edge_radius=20.0):
    """A small hump with a blended deck edge and one shallow recess in the deck."""
    tumblehome = 20.0  # how far the side leans inward from the chine to the deck edge

    # The stations, from front to rear. Each names its corners from the bottom
    # up: (half-breadth, height), and the radius of the edge if it is blended.
    # Every station has the same corners, in the same order.
    nose = Station(
        x=0.0,
        corners={
            "chine": Corner(width * 0.40, 0.0),
            "deck edge": Corner(width * 0.40 - tumblehome, height * 0.60, edge_radius),
        },
        crowns={"deck": 5.0},  # rise of the deck's middle over its edges
    )
    crest = Station(
        x=length * 0.40,
        corners={
            "chine": Corner(width * 0.50, 0.0),
            "deck edge": Corner(width * 0.50 - tumblehome, height, edge_radius),
        },
        crowns={"deck": 8.0},
    )
    tail = Station(
        x=length,
        corners={
            "chine": Corner(width * 0.48, 0.0),
            "deck edge": Corner(width * 0.48 - tumblehome, height * 0.92, edge_radius),
        },
        crowns={"deck": 8.0},
    )

    return Plug(
        name=@TITLE@,
        # The panels between the corners, from the bottom up: the floor crosses
        # the centreline below, then the side, and the deck crosses it above.
        panels=("floor", "side", "deck"),
        stations=(nose, crest, tail),
        # "straight": what a long sanding block leaves between two templates.
        # "faired": a smooth curve through all stations. Or one by one, by
        # corner: {"deck edge": "faired"}, or bay by bay: ("straight", "faired").
        bays="straight",
        # The rear end is blended into the panels; the front end stays flat.
        rear=End(radius=edge_radius),
        # A recess in the deck: its width lies across the deck, its height
        # along x. Draft lets the part come off; the floor radius lets cloth lie.
        recesses=(
            Recess(
                panel="deck",
                x=length * 0.70,
                across=0.0,
                width=120.0,
                height=60.0,
                depth=8.0,
                corner_radius=10.0,
                draft_deg=5.0,
                floor_radius=3.0,
            ),
        ),
        # The foam: layers stacked upward from sheets of this thickness, their
        # outlines cut larger by the allowance, and sanded down to the line.
        stack=Stack(axis="z", thicknesses=(50.0,), allowance=4.0),
    )
'''


def starter_recipe(name: str) -> str:
    """Return the text of a starter recipe: a hump of about 400 x 300 x 120 mm.

    Parameters
    ----------
    name : str
        Name of the part, the stem of the recipe's file. The function in the recipe is named after it,
        in small letters, with an underscore for whatever a name in Python may not hold.

    Returns
    -------
    str
        Python text, ending in a newline.

    Raises
    ------
    PlugError
        No function can be named after it; the remedy gives the nearest name that would do.
    """
    return _filled(_TEXT, name)


def write_starter(name: str, *, is_machine: bool = False) -> Path:
    """Write a starter recipe, or a starter for a machine's record, where there is nothing yet.

    Parameters
    ----------
    name : str
        Of the part or the machine, or a path; without a folder it goes into ``recipes``, where there is one.
    is_machine : bool

    Returns
    -------
    Path
        Of the file.

    Raises
    ------
    PlugError
        There is something of that name, or nothing can be written there.
    """
    path = Path(name)
    if path.suffix != ".py":
        path = Path(f"{name}.py")
    starter = starter_machine if is_machine else starter_recipe
    text = starter(name if path.stem == ".py" else path.stem)
    try:
        if path.parent == Path() and Path("recipes").is_dir():
            path = Path("recipes") / path
        if path.exists():
            raise PlugError(
                param="NAME",
                value=str(path),
                reason="the file is there already",
                remedy=f"use another name, such as {path.stem}_2",
            )
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise PlugError(
            param="NAME",
            value=str(path),
            reason=f"the file cannot be written: {error.strerror}",
            remedy="name a folder that you may write to, such as ~/plugs/cover_1",
        ) from error
    return path


def starter_machine(name: str) -> str:
    """Return the text of a starter for a wire cutter's record.

    Parameters
    ----------
    name : str
        Of the machine, the stem of its file; its function is named after it, as a recipe's is.

    Returns
    -------
    str
        Python text, ending in a newline.

    Raises
    ------
    PlugError
        No function can be named after it; the remedy gives the nearest name that would do.
    """
    return _filled(MACHINE, name)


def _filled(text: str, name: str) -> str:
    """Return a starter with its name filled in, or refuse the name."""
    reason = _why_no_name(name)
    if reason:
        raise PlugError(param="name", value=name, reason=reason, remedy=f"write {_nearest(name)}")
    words = "".join(letter if letter.isprintable() and letter != "_" else " " for letter in name)
    title = " ".join(words.split())
    filled = text.replace("@FUNCTION@", _joined(name)).replace("@FILE@", f"{name}.py")
    return filled.replace("@TITLE@", repr(title[:1].upper() + title[1:]))


def _why_no_name(name: str) -> str:
    """Return why no function can be named after a part; empty if one can."""
    function = _joined(name)
    if not name.isprintable():
        return "it holds something that cannot be seen"
    if "/" in name or "\\" in name:
        return "it is the name of a part, not of a folder"
    if not function:
        return "there is no letter or figure in it"
    if len(function) > _LONGEST_NAME:
        return f"it is longer than {_LONGEST_NAME} characters"
    if keyword.iskeyword(function):
        return "it is a word that Python keeps for itself"
    if _KEPT.fullmatch(function):
        return "a file of this name would stand in the way of this program, or cannot be made on some systems"
    return "" if function.isidentifier() else "a function in Python cannot begin like this"


def _joined(name: str) -> str:
    """Return a name in small letters, its words joined by underscores."""
    return re.sub(r"[\W_]+", "_", name).strip("_").lower()


def _nearest(name: str) -> str:
    """Return the nearest name that can be a function's."""
    last = re.split(r"[/\\]", name.rstrip("/\\"))[-1]
    function = _joined(last)[:_LONGEST_NAME].rstrip("_")
    if not function:
        return "my_plug"
    if keyword.iskeyword(function) or _KEPT.fullmatch(function):
        return f"{function}_plug"
    return function if function.isidentifier() else f"plug_{function}"[:_LONGEST_NAME].rstrip("_")
