"""The path language of SVG: from the text of a ``d`` attribute to points.

References
----------
Scalable Vector Graphics (SVG) 1.1, second edition, W3C recommendation, 2011: chapter 8 (paths), appendix
F.6 (elliptical arcs); from memory, held by tests against other readers.
"""

from __future__ import annotations

import cmath
import math
import re
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.measure.runs import MOST_POINTS, too_much

Complexes = NDArray[np.complex128]

_NUMBER: Final = re.compile(r"[\s,]*([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)")
_FLAG: Final = re.compile(r"[\s,]*([01])")
_COMMAND: Final = re.compile(r"[\s,]*([A-Za-z])")
_COUNTS: Final = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}
_LARGEST_NUMBER: Final = 1e9  # as in `svg_in`
_FARTHEST: Final = 1e12  # a sum of relative moves goes no farther, or its last mm is lost
_MOST_POINTS: Final = 4096
"""Points to one curve at most: 0.005 mm on a circle of 20 m takes 2200."""
_MOST_COMMANDS: Final = 200_000  # of a path: half of the points that are read at most
_LEAST_RADIUS: Final = 1e-9
"""In user units: an arc of no radius is a straight line."""


def path_runs(text: str, chord: float, name: str) -> list[tuple[Complexes, bool]]:
    """Return the subpaths of an SVG path as points.

    Parameters
    ----------
    text : str
        The ``d`` attribute.
    chord : float, in user units
        Largest distance between a curve and the points that stand for it.
    name : str
        What an error calls the path.

    Returns
    -------
    list of ((n,) complex, bool)
        Points x + iy, y down, in user units, and whether the subpath is closed.

    Raises
    ------
    PlugError
        The text is not a path, or one of too many commands or points.
    """
    runs: list[tuple[list[complex], bool]] = []
    begin = at = 0j
    before, control, count = "", 0j, 0
    for letter, numbers in _commands(text, name):
        kind, base = letter.upper(), at if letter.islower() else 0j
        if kind == "M":
            begin = at = base + complex(*numbers)
            runs.append(([at], False))
        elif kind == "Z":
            runs[-1] = (runs[-1][0], True)
            at = begin
        else:
            if before == "Z":
                runs.append(([at], False))
            mirrored = control if before and before in _LIKE[kind] else at
            points, control = _segment(kind, base, at, numbers, mirrored, chord)
            runs[-1][0].extend(points)
            at = points[-1]
            count += len(points)
            if count > MOST_POINTS or not abs(at.real) + abs(at.imag) < _FARTHEST:
                limit = f"at most {MOST_POINTS} points, and none farther out than {_FARTHEST:g}, are read"
                raise too_much(name, f"its curves have {count} points, up to {at:.4g}; {limit}")
        before = kind
    return [(np.array(points), is_closed) for points, is_closed in runs if len(points) > 1]


_LIKE: Final = {"C": "", "S": "CS", "Q": "", "T": "QT", "L": "", "H": "", "V": "", "A": ""}
"""After which commands the control point of the one before is mirrored."""


def _commands(text: str, name: str) -> list[tuple[str, list[float]]]:
    """Return the commands of a path, each with its numbers, repeated commands written out."""
    found: list[tuple[str, list[float]]] = []
    place, letter = 0, ""
    end = len(text.rstrip(" \t\r\n\f,"))
    while place < end:
        match = _COMMAND.match(text, place)
        if match is not None:
            letter, place = match[1], match.end()
            if letter.upper() not in _COUNTS:
                raise _fault(text, match.start(1), name, f"{letter} is not a command of a path")
            if not found and letter.upper() != "M":
                raise _fault(text, match.start(1), name, "a path begins with M")
        elif not letter or letter in "zZ":
            raise _fault(text, place, name, "a command is missing")
        numbers: list[float] = []
        for index in range(_COUNTS[letter.upper()]):
            is_flag = letter in "aA" and index in (3, 4)
            part = (_FLAG if is_flag else _NUMBER).match(text, place)
            if part is None:
                want = "a flag, 0 or 1," if is_flag else "a number"
                count = f"{index + 1} of {_COUNTS[letter.upper()]}"
                raise _fault(text, place, name, f"{letter} lacks {want} ({count})")
            numbers.append(float(part[1]))
            if abs(numbers[-1]) > _LARGEST_NUMBER:
                raise _fault(text, part.start(1), name, "the number is larger than any drawing")
            place = part.end()
        found.append((letter, numbers))
        if len(found) > _MOST_COMMANDS:
            raise too_much(name, f"the path has more than {_MOST_COMMANDS} commands")
        if letter in "mM":
            letter = "l" if letter == "m" else "L"
    return found


def _fault(text: str, place: int, name: str, reason: str) -> PlugError:
    """Return an error about one place of a path."""
    return PlugError(
        param=f"d of {name}",
        value=text[max(place - 12, 0) : place + 24].strip() or "(end)",
        reason=f"at character {place + 1} of the path: {reason}",
        remedy="save the drawing again as plain SVG, or mend the path there",
    )


def _segment(
    kind: str, base: complex, at: complex, numbers: list[float], mirrored: complex, chord: float
) -> tuple[list[complex], complex]:
    """Return the points of one segment after its start, and the control point that the next one mirrors.

    ``mirrored`` is the last control point of the segment before, or the current point.
    """
    if kind == "H":
        return [complex(numbers[0] + base.real, at.imag)], 0j
    if kind == "V":
        return [complex(at.real, numbers[0] + base.imag)], 0j
    if kind == "A":
        return ellipse_points(at, base + complex(*numbers[5:]), numbers, chord), 0j
    points = [base + complex(x, y) for x, y in zip(numbers[::2], numbers[1::2], strict=True)]
    if kind == "L":
        return points, 0j
    if kind in "ST":
        points.insert(0, 2.0 * at - mirrored)
    return _bezier(np.array([at, *points]), chord), points[-2]


def _bezier(poles: Complexes, chord: float) -> list[complex]:
    """Return points of a Bezier curve of degree 2 or 3 after its start, no chord farther off than asked."""
    degree = len(poles) - 1
    bend = degree * (degree - 1) * float(np.abs(np.diff(poles, 2)).max())
    n = min(max(1, math.ceil(math.sqrt(bend / (8.0 * chord)))), _MOST_POINTS)
    t = np.arange(1, n + 1) / n
    rows = np.broadcast_to(poles[:, None], (degree + 1, n))
    while len(rows) > 1:
        rows = rows[:-1] * (1.0 - t) + rows[1:] * t
    points: list[complex] = rows[0].tolist()
    points[-1] = complex(poles[-1])
    return points


def ellipse_points(at: complex, to: complex, numbers: list[float], chord: float) -> list[complex]:
    """Return points of an elliptical arc after its start.

    Parameters
    ----------
    at, to : complex, in user units
        Its two ends, x + iy, y down.
    numbers : list of float, in user units
        Radii, rotation in degrees, and the flags "large" and "sweep".
    chord : float, in user units
        Largest distance between the arc and its chords.

    References
    ----------
    SVG 1.1, appendix F.6.5 (from ends to centre) and F.6.6 (radii too small are scaled up).
    """
    rx, ry = abs(numbers[0]), abs(numbers[1])
    if min(rx, ry) < _LEAST_RADIUS or abs(at - to) < _LEAST_RADIUS:
        return [to]
    turn = cmath.rect(1.0, math.radians(numbers[2]))
    half = (at - to) / 2.0 / turn
    if abs(half) < _LEAST_RADIUS * max(rx, ry):
        return [to]
    # in the plane where the ellipse is a unit circle
    u = complex(half.real / rx, half.imag / ry)
    if abs(u) > 1.0:
        rx, ry, u = rx * abs(u), ry * abs(u), u / abs(u)
    side = -1.0 if bool(numbers[3]) == bool(numbers[4]) else 1.0
    centre = -1j * u / abs(u) * side * math.sqrt(max(0.0, 1.0 - abs(u) ** 2))
    first = cmath.phase(u - centre)
    sweep = (cmath.phase(-u - centre) - first) % (2.0 * math.pi)
    if not numbers[4]:
        sweep -= 2.0 * math.pi
    largest = max(rx, ry)
    step = 2.0 * math.acos(max(1.0 - chord / largest, 0.0)) if chord < largest else math.pi / 2.0
    n = min(max(1, math.ceil(abs(sweep) / min(step, math.pi / 4.0))), _MOST_POINTS)
    circle = centre + np.exp(1j * (first + sweep * np.arange(1, n + 1) / n))
    points: list[complex] = ((at + to) / 2.0 + turn * (rx * circle.real + 1j * ry * circle.imag)).tolist()
    points[-1] = to
    return points
