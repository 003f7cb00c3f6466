"""Whatever becomes of a file on its way, a reader reads it or refuses it: no crash, no hanging, no noise.

Sound files of each kind are mutated: bytes changed, runs cut and doubled, numbers made huge, tiny, negative
or none. ``PLUGS_CASES`` sets how many; case by case the same from run to run.
"""

from __future__ import annotations

import os
import re
import signal
import struct
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from io import StringIO
from pathlib import Path

import ezdxf
import numpy as np
import pytest

from plugs.ground.errors import PlugError
from plugs.lines.offsets import read_table, stations_of
from plugs.measure.outlines import read_outlines
from plugs.mesh.closed import closed_body, welded
from plugs.mesh.stl_in import read_stl

CASES = int(os.environ.get("PLUGS_CASES", "120"))
SECONDS = 20
"""Of processor time for one file: ten times the longest on a machine without company."""

NUMBERS = (
    b"1e308",
    b"-1e999",
    b"nan",
    b"0",
    b"1e-320",
    b"-7",
    b"1e12",
    b"99999999999",
    b"",
    b"3,5",
    b"\xff\xfe",
)
NUMBER = re.compile(rb"-?[0-9]+\.?[0-9]*(?:e[-+]?[0-9]+)?")

SVG = b"""<?xml version="1.0"?>
<svg xmlns="http://www.w3.org/2000/svg" width="300mm" height="80mm" viewBox="0 0 300 80"><defs>
<g id="a"><path d="M0 0c1 2 3 4 5 6s3 4 9 9q3 3 9 -1t4 4a25 60 -30 0 1 30 20V-9h-40z"/></g>
<symbol id="s" viewBox="0 0 9 9"><circle cx="4" cy="4" r="3"/></symbol></defs>
<g transform="translate(3 4) rotate(30 1 2) skewX(5)"><use href="#a" x="2" y="3"/>
<rect x="100" y="2" width="30" height="20" rx="4"/></g>
<g transform="matrix(1 0.2 0.1 1 5 6)" visibility="hidden"><use href="#a"/></g>
<use href="#s" x="200" width="20" height="20"/><polygon points="221,2 250,4 240,30"/>
<ellipse cx="280" cy="40" rx="20" ry="10"/></svg>"""

CSV = b"outline,y (mm),z\n" + b"".join(
    b"%s,%d.5,%d\n" % (name, k * k, 3 * k + far) for name, far in ((b"a", 0), (b"b", 90)) for k in range(12)
)

TABLE = (
    b"line (mm),quantity,0,400,900\nchine,half-breadth,150,190,185\nchine,height,0,0,0\n"
    b"deck edge,half-breadth,130,170,165\ndeck edge,height,90,120,110\n"
    b"deck edge,radius,20,25,25\ndeck,crown,5,8,8\n"
)


def dxf() -> bytes:
    """Return a drawing with every kind of curve, and blocks."""
    document = ezdxf.new("R12")
    document.header["$INSUNITS"] = 4
    space = document.modelspace()
    block = document.blocks.new("b")
    block.add_line((0, 0), (10, 0))
    block.add_arc((10, 5), 5, -90, 90)
    space.add_blockref(
        "b", (1, 2), dxfattribs={"xscale": 2, "rotation": 30, "row_count": 2, "row_spacing": 20}
    )
    space.add_polyline2d([(90, 0, 0.3), (99, 19, 0), (90, 30, -0.3)], format="xyb")
    space.add_circle((150, 50), 20)
    stream = StringIO()
    document.write(stream)
    text = stream.getvalue()
    # the header's variables alone are half of the file, and say nothing
    unit = "0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1009\n9\n$INSUNITS\n70\n4\n0\nENDSEC\n"
    return (unit + text[text.index("ENDSEC\n") + len("ENDSEC\n") :]).encode()


def newer_dxf() -> bytes:
    """Return a drawing with splines and ellipses, as lean as its format allows."""
    document = ezdxf.new("R2000", units=4)
    space = document.modelspace()
    space.add_open_spline([(0, 0), (10, 30), (40, -20), (60, 5), (80, 9)])
    space.add_ellipse((120, 20), (30, 5), 0.4, 0.1, 3.0)
    space.add_lwpolyline([(200, 0, 0.3), (219, 9, 0), (200, 30, -0.3)], format="xyb", close=True)
    stream = StringIO()
    document.write(stream)
    return stream.getvalue().encode()


def stl() -> bytes:
    """Return a tetrahedron, binary."""
    places = np.array([(0, 0, 0), (50, 0, 0), (0, 60, 0), (0, 0, 70)], dtype=np.float64)
    facets = [(0, 2, 1), (0, 1, 3), (0, 3, 2), (1, 2, 3)]
    rows = [struct.pack("<12fH", 0, 0, 0, *places[list(f)].ravel(), 0) for f in facets]
    return bytes(80) + struct.pack("<I", len(rows)) + b"".join(rows)


def text_stl() -> bytes:
    """Return the same as text."""
    places = ("0 0 0", "50 0 0", "0 60 0", "0 0 70")
    facets = [(0, 2, 1), (0, 1, 3), (0, 3, 2), (1, 2, 3)]
    loops = ["".join(f"vertex {places[i]}\n" for i in f) for f in facets]
    inner = "".join(f"facet normal 0 0 0\nouter loop\n{loop}endloop\nendfacet\n" for loop in loops)
    return f"solid t\n{inner}endsolid\n".encode()


def read_body(path: Path) -> None:
    """Read a body as a mating face does."""
    closed_body(*welded(read_stl(path.read_bytes(), "body", path.name)), "body", path.name)


def read_stations(path: Path) -> None:
    """Read a table of offsets, and make stations of it."""
    stations_of(read_table(path))


KINDS: dict[str, tuple[str, Callable[[], bytes], Callable[[Path], object], float]] = {
    "svg": ("a.svg", lambda: SVG, read_outlines, 1.0),
    "dxf": ("a.dxf", dxf, read_outlines, 1.0),
    "newer dxf": ("a.dxf", newer_dxf, read_outlines, 0.25),
    "csv": ("a.csv", lambda: CSV, read_outlines, 1.0),
    "table": ("a.csv", lambda: TABLE, read_stations, 1.0),
    "stl": ("a.stl", stl, read_body, 1.0),
    "text stl": ("a.stl", text_stl, read_body, 1.0),
}


@cache
def sound(kind: str) -> bytes:
    """Return the sound file of a kind."""
    return KINDS[kind][1]()


def mutated(content: bytes, rng: np.random.Generator) -> bytes:
    """Return a file after one to four accidents."""
    for _ in range(int(rng.integers(1, 5))):
        place, length = int(rng.integers(0, len(content) + 1)), int(rng.integers(1, 40))
        stretch = content[place : place + length]
        choice = int(rng.integers(0, 6))
        numbers = list(NUMBER.finditer(content))
        if choice <= 2 and numbers:
            match = numbers[int(rng.integers(0, len(numbers)))]
            content = (
                content[: match.start()]
                + NUMBERS[int(rng.integers(0, len(NUMBERS)))]
                + content[match.end() :]
            )
        elif choice == 3:
            content = content[:place] + content[place + length :]
        elif choice == 4:
            content = content[:place] + stretch * int(rng.integers(2, 5)) + content[place + length :]
        else:
            content = content[:place] + bytes(rng.integers(0, 256, 3).tolist()) + content[place + 3 :]
    return content


@contextmanager
def clock() -> Iterator[None]:
    """Stop a reader that hangs."""

    def late(*_: object) -> None:
        raise TimeoutError(f"more than {SECONDS} s")

    before = signal.signal(signal.SIGPROF, late)
    signal.setitimer(signal.ITIMER_PROF, SECONDS)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


@pytest.mark.parametrize("kind", KINDS)
def test_sound_files_are_read(kind: str, tmp_path: Path) -> None:
    """What is mutated is read as it stands."""
    name, _, read, _ = KINDS[kind]
    (tmp_path / name).write_bytes(sound(kind))
    read(tmp_path / name)


@pytest.mark.parametrize("kind", KINDS)
def test_mutated_files_are_read_or_refused(
    kind: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """A result or three lines, in time, and no word of a library's."""
    name, _, read, share = KINDS[kind]
    path = tmp_path / name
    n_read = n_refused = 0
    for case in range(max(int(share * CASES), 10)):
        path.write_bytes(mutated(sound(kind), np.random.default_rng([sorted(KINDS).index(kind), case])))
        try:
            with clock():
                read(path)
            n_read += 1
        except PlugError as error:
            n_refused += 1
            assert str(error).count("\n") == 2, (case, str(error))
        except BaseException as error:
            raise AssertionError(f"case {case} of {kind}: {error!r}") from error
    assert n_refused > 0
    assert n_read > 0
    assert capfd.readouterr() == ("", "")
