"""A small part to spoil in many ways, and the command line run in this process."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

from plugs.cli import main

PART = '''\
"""A small part, for tests."""

from plugs import Boss, Corner, End, Plug, Recess, Stack, Station


def part(length=400.0, width=300.0, height=120.0, radius=20.0, crown=5.0, sheet=50.0, depth=8.0):
    """Return a hump with one recess."""

    def station(x, share=1.0):
        return Station(
            x=x,
            corners={
                "chine": Corner(share * width / 2, 0.0),
                "edge": Corner(share * width / 2 - 20.0, height, radius),
            },
            crowns={"deck": crown},
        )

    return Plug(
        name="Part",
        panels=("floor", "side", "deck"),
        stations=(station(0.0, 0.9), station(200.0), station(length)),
        rear=End(radius=20.0),
        recesses=(Recess(panel="deck", x=200.0, across=0.0, width=100.0, height=60.0, depth=depth),),
        stack=Stack(thicknesses=(sheet,)),
    )
'''

TABLE = """\
line (mm),holds,0,200,400
chine,half-breadth,135,150,150
chine,height,0,0,0
edge,half-breadth,115,130,130
edge,height,110,120,115
edge,radius,15,20,15
deck,crown,5,8,5
"""

FROM_TABLE = '''\
from pathlib import Path

from plugs import Plug, read_table, stations_of


def part(table="table.csv"):
    """Return a hump whose stations stand in a table."""
    return Plug(
        name="Part",
        panels=("floor", "side", "deck"),
        stations=stations_of(read_table(Path(__file__).with_name(table))),
    )
'''


class Run(NamedTuple):
    """What a command did: its exit status and what it wrote to each stream."""

    status: int
    out: str
    err: str


Plugs = Callable[..., Run]


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a folder to stand in that holds the part, its table and the recipe that reads the table."""
    (tmp_path / "part.py").write_text(PART, encoding="utf-8")
    (tmp_path / "tabled.py").write_text(FROM_TABLE, encoding="utf-8")
    (tmp_path / "table.csv").write_text(TABLE, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def plugs(capsys: pytest.CaptureFixture[str]) -> Plugs:
    """Return a function that runs a command in this process."""

    def run(*arguments: str) -> Run:
        capsys.readouterr()
        try:
            status = main(arguments)
        except SystemExit as ended:  # --help
            status = int(ended.code or 0)
        return Run(status, *capsys.readouterr())

    return run


def snapshot(folder: Path) -> dict[str, bytes | None]:
    """Return everything in a folder, hidden things too, to compare before and after."""
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() if p.is_file() else None for p in folder.rglob("*")
    }


def three_lines(run: Run) -> tuple[str, str, str]:
    """Return the three lines of an input error, after checking that it is one."""
    assert run.status == 2, run
    assert run.out == ""
    lines = run.err.splitlines()
    assert len(lines) == 3, run.err
    assert "Traceback" not in run.err
    assert " = " in lines[0]
    assert lines[1].startswith("why: ")
    assert lines[2].startswith("do: ")
    assert all(len(line.partition(": ")[2]) >= 4 for line in lines[1:])
    return lines[0], lines[1], lines[2]
