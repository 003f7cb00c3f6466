"""What a field of a recipe's record may hold, as marks in its annotation: `checking` reads them."""

from __future__ import annotations

from typing import Annotated, Any

from plugs.ground.records import record
from plugs.ground.tolerances import LARGEST


@record(frozen=True, slots=True)
class Within:
    """The range of a number, ends included; without this mark a number is a length on a plug.

    Attributes
    ----------
    least, most : float
        In the unit of the field.
    """

    least: float = -LARGEST
    most: float = LARGEST


@record(frozen=True, slots=True)
class Count:
    """How many things a list or a mapping may hold; without this mark up to 1000.

    Attributes
    ----------
    least, most : int, dimensionless
    """

    least: int = 0
    most: int = 1000


@record(frozen=True, slots=True)
class Letters:
    """How long a text may be; without this mark up to 200 letters.

    Attributes
    ----------
    least, most : int, dimensionless
    """

    least: int = 0
    most: int = 200


@record(frozen=True, slots=True)
class OneOf:
    """The words that a field knows.

    Attributes
    ----------
    words : tuple of str
    """

    words: tuple[str, ...]


@record(frozen=True, slots=True)
class OrOne:
    """A list that may be written as its one item."""


@record(frozen=True, slots=True)
class Points:
    """A row of points (n, 2) in mm, or anything with a method ``at(shares)`` that gives such points."""


Name = Annotated[str, Letters(1, 200)]
"""Text that is not empty."""

Curve = Annotated[Any, Points()]
"""What was measured or faired, as `Points` says."""
