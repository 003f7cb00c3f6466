"""The first look after a save: the same foam and the same layers as the whole build, and nothing else."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import plugs.first_look as looking
from plugs.build import build
from plugs.cli import main
from plugs.files.drawing_run import DrawingRun
from plugs.first_look import first_look
from plugs.ground import twins
from plugs.ground.errors import PlugError
from plugs.ground.workers import Crew
from plugs.kernel.worker import KernelRun
from plugs.stages import beside
from plugs.stages.shelf import Shelf
from tests.cli.conftest import PART
from tests.unit.test_work import BOX

BAR = """from plugs import *


def bar(rear=80.0):
    return Plug(
        name="bar", panels=("floor", "side", "deck"), bays="straight",
        stack=Stack(axis="x", thicknesses=(25.0,)),
        stations=[
            Station(x=x, corners={"chine": Corner(60.0, 0.0), "deck edge": Corner(60.0, height)})
            for x, height in ((0.0, 80.0), (100.0, 80.0), (200.0, rear))
        ],
    )
"""
"""A bar of eight layers: its parameter lowers its rear end, so the last four, and a pin in the one before."""


def no_kernel() -> KernelRun:
    """Refuse to start the kernel."""
    raise AssertionError("the kernel was wanted")


def look(recipe: Path, out: Path, **changes: object) -> Path:
    """Take a first look, and return the folder."""
    kinds = ("stl", "dxf", "svg", "pdf", "csv")
    return first_look(
        recipe, changes, out=out, kinds=kinds, say=lambda _: None, open_kernel=no_kernel
    ).folder  # fmt: skip


def test_files_are_those_of_the_whole_build(tmp_path: Path) -> None:
    """Foam byte for byte; of each layer the drawing, of all else nothing; the summary says null."""
    recipe = tmp_path / "part.py"
    recipe.write_text(PART, encoding="utf-8")
    folder = look(recipe, tmp_path / "first")
    whole = build(recipe, {}, out=tmp_path / "whole", kinds=("stl", "dxf", "svg")).folder
    names = sorted(str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file())
    assert len([name for name in names if name.startswith("layers")]) == 6
    others = [name for name in names if not name.startswith("layers")]
    assert others == ["record.json", "solid/foam.stl", "summary.json"]
    for name in names:
        if name not in ("record.json", "summary.json"):  # which tell what was worked out
            assert (folder / name).read_bytes() == (whole / name).read_bytes(), name


def test_layers_are_drawn_by_two_processes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On two cores a command has another process draw with it, and the files are the same."""
    recipe, words = tmp_path / "part.py", ["--only", "stl", "--only", "dxf", "--only", "svg"]
    recipe.write_text(PART, encoding="utf-8")
    folder, shared = look(recipe, tmp_path / "first"), []
    layers = DrawingRun.layers
    monkeypatch.setattr(
        DrawingRun, "layers", lambda pen, jobs, *words: shared.append(jobs) or layers(pen, jobs, *words)
    )
    monkeypatch.setattr(twins, "n_cores", lambda: 2)
    assert main(["build", str(recipe), "--layers", *words, "--out", str(tmp_path / "second")]) == 0
    assert [len(jobs) for jobs in shared] == [3]
    names = [p.relative_to(folder) for p in folder.rglob("*") if p.is_file()]
    assert names and all(
        (folder / name).read_bytes() == (tmp_path / "second" / name).read_bytes() for name in names
    )


def test_layers_that_stay_are_not_drawn_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its rear end cut otherwise, a stack along a bar keeps its layers before the middle, byte for byte."""
    recipe, drawn = tmp_path / "bar.py", list[str]()
    recipe.write_text(BAR, encoding="utf-8")
    draw = looking.draw_layers
    monkeypatch.setattr(
        looking,
        "draw_layers",
        lambda jobs, kinds: drawn.extend(job.layer.name for job in jobs) or draw(jobs, kinds),
    )
    words = {"kinds": ("dxf", "svg"), "say": lambda _: None, "open_kernel": no_kernel}
    shelf, counts = Shelf(), list[list[str]]()
    for rear in (80.0, 80.0, 70.0):
        one = first_look(recipe, {"rear": rear}, out=tmp_path / "kept", shelf=shelf, **words).folder
        counts.append(drawn[:])
        drawn.clear()
    assert counts == [[f"L0{i}" for i in range(1, 9)], [], ["L04", "L05", "L06", "L07", "L08"]]
    other = first_look(recipe, {"rear": 70.0}, out=tmp_path / "fresh", **words).folder
    files = [path.relative_to(other) for path in other.rglob("layer-*.*")]
    assert len(files) == 16
    assert all((one / name).read_bytes() == (other / name).read_bytes() for name in files)


def test_the_pen_makes_a_part_of_a_look(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Tools, measures of the sections, triangles as a file and layers; files and refusals are the same."""
    recipe, asked, by_pen = tmp_path / "part.py", list[str](), list[int]()
    recipe.write_text(PART, encoding="utf-8")
    begun, layers = DrawingRun.begun, DrawingRun.layers
    monkeypatch.setattr(
        DrawingRun, "begun", lambda pen, make, *of: asked.append(make.__name__) or begun(pen, make, *of)
    )
    monkeypatch.setattr(
        DrawingRun, "layers", lambda pen, jobs, *words: by_pen.append(len(jobs)) or layers(pen, jobs, *words)
    )
    words, shelf = {"kinds": ("stl", "dxf", "svg"), "say": lambda _: None, "open_kernel": no_kernel}, Shelf()
    with DrawingRun("dxf", "svg") as pen:
        for width in (304.0, 302.0, 300.0):
            one = first_look(recipe, {"width": width}, out=tmp_path / "kept", shelf=shelf, pen=pen, **words)
        with pytest.raises(PlugError) as refused:
            first_look(recipe, {"depth": 500.0}, out=tmp_path / "kept", shelf=shelf, pen=pen, **words)
    assert asked[:12] == 3 * ["make_all_tools", "integrate", "stl_bytes", "draw_layers"]
    assert by_pen == [3, 3, 3]
    with pytest.raises(PlugError) as alone:
        first_look(recipe, {"depth": 500.0}, out=tmp_path / "fresh", **words)
    assert str(refused.value) == str(alone.value)
    other = first_look(recipe, {"width": 300.0}, out=tmp_path / "fresh", **words).folder
    files = [path.relative_to(other) for path in other.rglob("*.*") if path.suffix != ".json"]
    assert len(files) == 7
    assert all((one.folder / name).read_bytes() == (other / name).read_bytes() for name in files)


def test_a_refused_recipe_leaves_the_folder(tmp_path: Path) -> None:
    """The fault is told, the last good folder stays."""
    recipe = tmp_path / "part.py"
    recipe.write_text(PART, encoding="utf-8")
    folder = look(recipe, tmp_path / "out")
    before = (folder / "solid" / "foam.stl").read_bytes()
    with pytest.raises(PlugError):
        look(recipe, tmp_path / "out", radius=3000.0)
    assert (folder / "solid" / "foam.stl").read_bytes() == before


def test_the_book_waits_for_no_picture(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody renders, prints or pictures; all but pictures and the list of files is as in the whole book."""
    recipe = tmp_path / "box.py"
    recipe.write_text(BOX.replace("WORDS", ""), encoding="utf-8")
    whole = build(recipe, {}, out=tmp_path / "whole", kinds=("stl", "svg", "png", "html"))
    monkeypatch.setattr(Crew, "lend", None)
    monkeypatch.setattr(beside, "n_cores", lambda: 1)
    kinds, words = ("stl", "svg", "html"), {"say": lambda _: None, "open_kernel": no_kernel}
    first = first_look(recipe, {}, out=tmp_path / "first", kinds=kinds, shelf=Shelf(), crew=Crew(), **words)
    files = {row["path"]: row["sha256"] for row in first.summary["files"]}
    names = {path.relative_to(first.folder).as_posix() for path in first.folder.rglob("*.*")}
    assert names == {*files, "summary.json"} >= {"book.html", "layers/layer-01.svg", "solid/foam.stl"}
    last = {row["path"]: row["sha256"] for row in whole.summary["files"]}
    assert [name for name in files if files[name] != last[name]] == ["book.html"]
    assert first.findings == whole.findings
    one, other = (sections(each.folder / "book.html") for each in (first, whole))
    assert {name for name in one if one[name] != other[name]} == {"anew"}
    assert "<img" not in "".join(one.values())


def sections(book: Path) -> dict[str, str]:
    """Return the sections of a book by name, without pictures and what stands in for them; and its bodies."""
    page = book.read_text(encoding="utf-8")
    bare = re.sub(r"<figure>(?:(?!</figure>).)*?<img(?:(?!</figure>).)*</figure>", "", page, flags=re.DOTALL)
    bare = re.sub(r"<details[^>]*><summary>[^<]*</summary></details>", "", bare)  # held pictures alone
    bare = bare.replace('<div class="instead"></div>', "").replace('<canvas class="still"></canvas>', "")
    found = dict(re.findall(r'<section id="(\w+)">(.*?)</section>', bare, flags=re.DOTALL))
    return found | {"scene": page.partition('id="scene">')[2].partition("</script>")[0]}
