"""Ways round a plug, in the words of the trade: left and right, or port and starboard in a boat.

The recipe says which by ``sides``. x runs from front to rear, y to the right, z up; left and right are those
of somebody who stands behind the plug and looks forward. All that is told of a plug is worded by `called`.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Final, NamedTuple


class Ways(NamedTuple):
    """The words for the ways round a plug.

    Attributes
    ----------
    left, right, front, rear : str
        Before the name of what lies there: "left side", "rear end", "front left".
    to_left, to_right, forward, rearward : str
        Where something points or goes to: "to the left", "to the rear".
    from_left, from_right, from_front, from_rear : str
        Where somebody stands who looks at the plug: "seen from the left", "seen from behind".
    lengthwise : str
        A section that runs along the plug, at a position y.
    """

    left: str
    right: str
    front: str
    rear: str
    to_left: str
    to_right: str
    forward: str
    rearward: str
    from_left: str
    from_right: str
    from_front: str
    from_rear: str
    lengthwise: str

    @property
    def axes(self) -> str:
        """Where the plug's axes run."""
        return f"x runs {self.rearward}, y {self.to_right}, z up"

    def side(self, y: float) -> str:
        """Return the side on which a position lies, empty on the centreline.

        Parameters
        ----------
        y : float, mm

        Returns
        -------
        str
        """
        return self.right if y > 0.0 else self.left if y < 0.0 else ""

    def beside(self, y: float, line: str = "the centreline") -> str:
        """Return where a position lies, said after its distance: "to the right of the centreline".

        Parameters
        ----------
        y : float, mm
        line : str
            What it is measured from.

        Returns
        -------
        str
        """
        return f"{self.to_right if y > 0.0 else self.to_left} of {line}"

    def seen_from(self, way: str) -> str:
        """Return where somebody stands who looks at "left", "right", "front" or "rear".

        Parameters
        ----------
        way : str

        Returns
        -------
        str
        """
        return str(getattr(self, f"from_{way}")) if way in _NAMED else f"from {way}"

    def of(self, way: str) -> str:
        """Return what "left", "right", "front" or "rear" is called; any other word as it is.

        Parameters
        ----------
        way : str

        Returns
        -------
        str
        """
        return str(getattr(self, way)) if way in _NAMED else way


_NAMED: Final = ("left", "right", "front", "rear")

_BY_SIDES: Final = {
    "left and right": Ways(
        left="left", right="right", front="front", rear="rear",
        to_left="to the left", to_right="to the right", forward="forward", rearward="to the rear",
        from_left="from the left", from_right="from the right",
        from_front="from the front", from_rear="from behind", lengthwise="lengthwise section",
    ),
    "port and starboard": Ways(
        left="port", right="starboard", front="front", rear="aft",
        to_left="to port", to_right="to starboard", forward="forward", rearward="aft",
        from_left="from port", from_right="from starboard",
        from_front="from ahead", from_rear="from astern", lengthwise="buttock",
    ),
}  # fmt: skip

LEFTS: Final = tuple(each.left for each in _BY_SIDES.values())
"""What the left may be called in a list that was printed before."""

SIDES: Final = tuple(_BY_SIDES)
"""What a recipe may call its sides, the usual first."""

_SIDES: Final = ContextVar("sides", default=SIDES[0])
"""What the sides of the plug are called that is being told of."""


def called() -> Ways:
    """Return the words for the plug that is being told of; left and right where nobody has said which.

    Returns
    -------
    Ways
    """
    return _BY_SIDES[_SIDES.get()]


def sides() -> str:
    """Return what the sides are called of the plug that is being told of: one of `SIDES`.

    Returns
    -------
    str
    """
    return _SIDES.get()


@contextmanager
def told_by(sides: str) -> Iterator[None]:
    """Tell of a plug in the words of its recipe.

    Parameters
    ----------
    sides : str
        One of `SIDES`; anything else, which a check of the recipe refuses, is the usual.

    Yields
    ------
    None
    """
    before = _SIDES.set(sides if sides in SIDES else SIDES[0])
    try:
        yield
    finally:
        _SIDES.reset(before)
