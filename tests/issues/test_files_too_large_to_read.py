"""Files that would hang a reader or eat its memory are refused, with the limit, soon and in little memory.

One child process reads them all, with 500 MB over what its libraries take, and the calls of each are counted.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from ezdxf.document import Drawing

ROOT = Path(__file__).resolve().parents[2]

MOST_CALLS = 15_000_000
"""Of functions, those written in C too, for a file: 5 million when written, in some 3 s of processor time."""

PATIENCE_S = 900.0
"""For all files together, which take some 15 s of processor time: only a hang takes so long."""

CHILD = """
import json, resource, sys
from pathlib import Path
import ezdxf, numpy, shapely, scipy.interpolate
from plugs.ground.errors import PlugError
from plugs.measure.fairing import fair
from plugs.measure.outlines import outline_of, read_outline
from plugs.mesh.closed import closed_body, welded
from plugs.mesh.stl_in import read_stl
from plugs.lines.offsets import read_table
from tests.counted import calls_of

def stl(path):
    closed_body(*welded(read_stl(path.read_bytes(), "body", path.name)), "body", path.name)

def points(path):
    fair(numpy.load(path))

pages = int(Path("/proc/self/statm").read_text().split()[0])
most = pages * resource.getpagesize() + 500_000_000
resource.setrlimit(resource.RLIMIT_AS, (most, most))
readers = {".stl": stl, ".npy": points, ".tab": read_table}
said = ""

def told(path):
    global said
    try:
        readers.get(path.suffix, read_outline)(path)
        said = "read"
    except PlugError as error:
        said = str(error)
    except BaseException as error:
        said = "CRASH " + repr(error)

for name in sys.argv[1:]:
    calls = calls_of(lambda: told(Path(name)))
    print(json.dumps([Path(name).name, said, calls]), flush=True)
"""


def write_dxf(folder: Path, name: str, draw: object) -> None:
    """Write a drawing of one bomb."""
    document = ezdxf.new("R2010", units=4)
    draw(document)  # type: ignore[operator]
    document.saveas(folder / f"{name}.dxf")


def nested(document: Drawing, is_empty: bool) -> None:
    """Draw blocks in blocks, 10 copies each, 15 deep."""
    inner = document.blocks.new("b0")
    if not is_empty:
        inner.add_line((0, 0), (10, 0))
    for k in range(1, 15):
        block = document.blocks.new(f"b{k}")
        for i in range(10):
            block.add_blockref(f"b{k - 1}", (i, 0))
    document.modelspace().add_blockref("b14", (0, 0))


def grid(document: Drawing, spacing: float) -> None:
    """Draw one insert of 32,767 rows and columns."""
    document.blocks.new("b").add_line((0, 0), (10, 0))
    words = {"row_count": 32767, "column_count": 32767, "row_spacing": spacing, "column_spacing": spacing}
    document.modelspace().add_blockref("b", (0, 0), dxfattribs=words)


def lines(document: Drawing) -> None:
    """Draw the line that is then repeated in the text, since the writer is slow."""
    document.modelspace().add_line((0, 0), (1, 0))


def splines(document: Drawing) -> None:
    """Draw a spline of 20,000 control points."""
    document.modelspace().add_open_spline([(i, i % 7, 0) for i in range(20_000)])


DXF = {
    "arc": lambda d: d.modelspace().add_arc((0, 0), 1e11, 0, 90),
    "circle": lambda d: d.modelspace().add_circle((0, 0), 1e13),
    "circles": lambda d: [d.modelspace().add_circle((0, 0), 1e7) for _ in range(60)],
    "ellipse": lambda d: d.modelspace().add_ellipse((0, 0), (1e12, 0), 0.5),
    "empty-polyline": lambda d: d.modelspace().add_lwpolyline([]),
    "empty-polyline-2d": lambda d: d.modelspace().add_polyline2d([]),
    "huge-numbers": lambda d: d.modelspace().add_lwpolyline([(1e308, 0), (-1e308, 5), (0, 1e308)]),
    "huge-bulge": lambda d: d.modelspace().add_lwpolyline([(0, 0, 1e300), (9, 9, 0)], format="xyb"),
    "huge-line": lambda d: d.modelspace().add_line((0, 0), (1e308, 1e308)),
    "nested": lambda d: nested(d, False),
    "nested-empty": lambda d: nested(d, True),
    "grid": lambda d: grid(d, 20.0),
    "grid-on-one-place": lambda d: grid(d, 0.0),
    "spline-long": splines,
    "spline-far": lambda d: d.modelspace().add_open_spline(
        [(0, 0, 0), (1e12, 1, 0), (0, 9e11, 0), (5, 5, 0)]
    ),
}

PAGE = '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" viewBox="0 0 100 100">{}</svg>'


def copies(inner: str, words: str = "") -> str:
    """Return copies of copies, 10 each, 12 deep."""
    groups = [f'<g id="g0">{inner}</g>']
    for k in range(1, 12):
        groups.append(f'<g id="g{k}">' + f'<use href="#g{k - 1}"/>' * 10 + "</g>")
    return f"<defs>{''.join(groups)}</defs><use href='#g11' {words}/>"


SVG = {
    "copies-hidden": copies('<path d="M0 0h9"/>', 'visibility="hidden"'),
    "copies-empty": copies(""),
    "commands": f'<path d="M0 0{"h1v1" * 150_000}"/>',
    "curves": f'<path d="M0 0{"c9e8 0 0 9e8 9 9" * 30_000}"/>',
    "elements": "<g/>" * 600_000,
    "transforms": '<g transform="scale(1e9)">' * 40 + '<path d="M0 0h9"/>' + "</g>" * 40,
    "not-finite": '<g transform="matrix(1e9 1e9 1e9 1e9 0 0) scale(1e9) scale(-1e9)"><path d="M0 0h9"/></g>',
    "flat": '<g transform="scale(0.0000000000001)">' * 30 + '<path d="M0 0a5 5 0 0 1 9 9"/>' + "</g>" * 30,
    "no-radius": '<path d="M0 0A1e-320 5 0 0 1 9 9A5e8 1e-300 0 1 1 0 1e-310z"/>',
    "small-arc": '<path d="M0 0A5 5 0 0 1 1e-200 1e-320L9 9"/>',
    "huge-length": '<rect x="1e999" y="0" width="1e308" height="1e300"/>',
}


def write_others(folder: Path) -> None:
    """Write tables, points in no order, and facets."""
    rows = "".join(f"{i},keel,{i % 90},{i % 70}\n" for i in range(300_000))
    (folder / "rows.tab").write_text("station (mm),line,half-breadth,height\n" + rows)
    (folder / "stations.tab").write_text(
        "station (mm),line,half-breadth,height\n" + "".join(f"{i},keel,9,9\n" for i in range(60_000))
    )
    (folder / "names.csv").write_text(
        "outline,y (mm),z\n" + "".join(f"n{i // 2},{i % 2},{0.1 * i:.1f}\n" for i in range(25_000))
    )
    rng = np.random.default_rng(0)
    loose = rng.uniform(0.0, 300.0, (8000, 2))
    (folder / "loose.csv").write_text("y (mm),z\n" + "".join(f"{y:.2f},{z:.2f}\n" for y, z in loose))
    np.save(folder / "loose.npy", loose)
    for name, count, size in (
        ("facets", 900_000, 300.0),
        ("fewer", 40_000, 300.0),
        ("dust", 30_000, 1e-4),
    ):
        facets = np.zeros((count, 50), dtype=np.uint8)
        corners = rng.uniform(0.0, size, (1000, 9)).astype("<f4")[rng.integers(0, 1000, count)]
        corners += rng.uniform(0.0, 0.1 * size, (count, 1)).astype("<f4")
        facets[:, 12:48] = corners.view(np.uint8)
        (folder / f"{name}.stl").write_bytes(bytes(80) + count.to_bytes(4, "little") + facets.tobytes())


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[str, int]]:
    """Return what the child said of each file, and how many calls it took."""
    folder = tmp_path_factory.mktemp("bombs")
    for name, draw in DXF.items():
        write_dxf(folder, name, draw)
    write_dxf(folder, "lines", lines)
    text = (folder / "lines.dxf").read_text()
    line = text[text.index("  0\nLINE\n") :]
    line = line[: line.index("  0\n", 4)]
    (folder / "lines.dxf").write_text(text.replace(line, line * 90_000))
    for name, body in SVG.items():
        (folder / f"{name}.svg").write_text(PAGE.format(body))
    write_others(folder)
    files = sorted(str(file) for file in folder.iterdir())
    done = subprocess.run(
        [sys.executable, "-c", CHILD, *files], cwd=ROOT,
        capture_output=True, text=True, timeout=PATIENCE_S, check=False,
    )  # fmt: skip
    rows = [json.loads(row) for row in done.stdout.splitlines()]
    assert [row[0] for row in rows] == [Path(file).name for file in files], done.stderr[-500:]
    assert done.stderr == ""  # no library's log lines, no warnings
    return {name: (said, calls) for name, said, calls in rows}


HARMLESS = ("grid-on-one-place.dxf", "flat.svg", "no-radius.svg", "small-arc.svg", "huge-bulge.dxf")
"""What is read after all: an arc without a radius is a line, copies on one place are one."""

NAMES = (
    *(f"{name}.dxf" for name in (*DXF, "lines")),
    *(f"{name}.svg" for name in SVG),
    *("rows.tab", "stations.tab", "names.csv", "loose.csv", "loose.npy"),
    *("facets.stl", "fewer.stl", "dust.stl"),
)


@pytest.mark.parametrize("name", NAMES)
def test_refused_soon_and_in_little_memory(name: str, told: dict[str, tuple[str, int]]) -> None:
    """Three lines, and neither the work nor the memory runs away."""
    said, calls = told[name]
    assert calls < MOST_CALLS, (name, calls)
    assert "MemoryError" not in said
    if name not in HARMLESS or said != "read":
        assert said.count("\n") == 2, said
        assert "\nwhy: " in said
