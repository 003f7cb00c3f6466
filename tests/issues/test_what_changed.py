"""A build is marked as the one that foam was cut from; every later one tells what changed against it."""

from __future__ import annotations

import base64
import csv
import io
import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image

from plugs.build import build
from plugs.changes.kept import kept_path, kept_record, mark_cut, record_in
from plugs.changes.moved import thinned
from plugs.changes.record import FILE, packed, unpacked
from plugs.changes.recording import record_of
from plugs.ground.errors import PlugError
from plugs.summary.changes import change_rows
from plugs.summary.summary import Built
from plugs.work import load
from tests.cli.conftest import PART, Plugs, snapshot, three_lines

ALL = ("layers", "pieces", "pins", "sheets", "templates", "sanding")


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> dict[float, bytes]:
    """Return the record of the part at two heights, as a build leaves it."""
    path = tmp_path_factory.mktemp("records") / "part.py"
    path.write_text(PART, encoding="utf-8")
    works = {height: load(path, height=height) for height in (110.0, 120.0)}
    return {height: packed(record_of(work, ALL, work.found(ALL))) for height, work in works.items()}


def leave(shop: Path, content: bytes, folder: str = "exports/part") -> None:
    """Leave a record in a folder, as a build does."""
    (shop / folder).mkdir(parents=True, exist_ok=True)
    (shop / folder / FILE).write_bytes(content)


def as_kept(content: bytes) -> bytes:
    """Return a record as it is kept: all of it, its surface of fewer triangles."""
    return packed(thinned(unpacked(content, param="x", place="y")))


# ---- the record of a build


def test_every_build_leaves_its_record(shop: Path, plugs: Plugs) -> None:
    """It is listed in the summary, and reads back to the same bytes; the same recipe gives the same."""
    folders = [shop / "one", shop / "two"]
    for folder in folders:
        assert plugs("build", "part.py", "--only", "csv", "--out", str(folder)).status == 0
    content = (folders[0] / FILE).read_bytes()
    listed = json.loads((folders[0] / "summary.json").read_bytes())["files"]
    assert FILE in [one["path"] for one in listed]
    record = unpacked(content, param="x", place="y")
    assert packed(record) == content
    assert [one.name for one in record.workpieces if one.kind == "layer"] == ["L01", "L02", "L03"]
    assert [one.kind for one in record.workpieces if not one.is_foam].count("pocket pattern") == 1
    assert {"floor", "right side", "left side", "deck", "rear", "front"} < set(record.places.names)
    assert (folders[1] / FILE).read_bytes() == content


def test_foam_and_layers_alone_leave_one_too(shop: Path, plugs: Plugs) -> None:
    """Of what they have: the layers, and not the templates."""
    assert plugs("build", "part.py", "--layers").status == 0
    assert record_in(shop / "exports/part").kinds == ("layer", "piece", "pocket pattern", "hard point")


# ---- marked, and undone


def test_the_marked_build_is_safe_from_later_ones(
    shop: Path, plugs: Plugs, records: dict[float, bytes]
) -> None:
    """A later build into the same folder, and the loss of the folder, leave it as it was."""
    leave(shop, records[110.0])
    run = plugs("cut", "part.py")
    assert (run.status, run.err) == (0, "")
    assert "height = 110.0" in run.out
    leave(shop, records[120.0])
    (shop / "exports/part" / FILE).unlink()
    assert kept_path(shop / "part.py").read_bytes() == as_kept(records[110.0])
    kept = kept_record(shop / "part.py")
    assert kept is not None
    assert kept.parameters["height"] == 110.0


def test_marking_can_be_undone(shop: Path, plugs: Plugs, records: dict[float, bytes]) -> None:
    """Back to the build that was marked before, or to none; and the undoing undone."""
    path = kept_path(shop / "part.py")
    for height in (110.0, 120.0, 120.0):  # marked twice: nothing is lost
        leave(shop, records[height])
        assert plugs("cut", "part.py").status == 0
    for height in (110.0, 120.0):
        assert plugs("cut", "part.py", "--undo").status == 0
        assert path.read_bytes() == as_kept(records[height])
    (shop / "part.cut-before.json").unlink()
    assert "no build is marked" in plugs("cut", "part.py", "--undo").out
    assert kept_record(shop / "part.py") is None
    assert plugs("cut", "part.py", "--undo").status == 0
    assert path.read_bytes() == as_kept(records[120.0])


def broken(content: bytes) -> dict[str, bytes]:
    """Return a record spoilt in several ways."""
    return {
        "another form": content.replace(b'"record": 1', b'"record": 99'),
        "half": content[: len(content) // 2],
        "no JSON": b"\x00\xff",
        "a list": b"[1, 2]",
        "a letter changed": content.replace(b'"title":"Part"', b'"title":"Pert"'),
    }


@pytest.mark.parametrize("how", ["another form", "half", "no JSON", "a list", "a letter changed"])
def test_a_broken_record_is_told_and_nothing_lost(
    how: str, shop: Path, plugs: Plugs, records: dict[float, bytes]
) -> None:
    """In the folder that is marked, and beside the recipe when it is built again; the remedy does."""
    kept, bad = kept_path(shop / "part.py"), broken(records[120.0])[how]
    leave(shop, bad)
    before = snapshot(shop)
    three_lines(plugs("cut", "part.py"))
    assert snapshot(shop) == before
    kept.write_bytes(bad)
    before = snapshot(shop)
    assert three_lines(plugs("build", "part.py"))[0].startswith("the build that foam was cut from")
    assert snapshot(shop) == before
    assert plugs("cut", "part.py", "--undo").status == 0
    assert not kept.exists()


def test_what_is_no_build_of_this_recipe_is_not_marked(
    shop: Path, plugs: Plugs, records: dict[float, bytes]
) -> None:
    """No folder, a folder without a record, another recipe's build, no recipe."""
    leave(shop, records[120.0])
    (shop / "other.py").write_text(PART)
    (shop / "empty").mkdir()
    for words, param in (
        (("part.py", "--out", "nowhere"), "--out"),
        (("part.py", "--out", "empty"), "--out"),
        (("other.py", "--out", "exports/part"), "--out"),
        (("gone.py", "--out", "exports/part"), "RECIPE"),
        (("part.py", "--undo"), "--undo"),
    ):
        assert three_lines(plugs("cut", *words))[0].startswith(param)
    assert not kept_path(shop / "part.py").exists()


def test_a_record_that_is_far_too_large_is_not_read(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its size is looked at first."""
    monkeypatch.setattr("plugs.changes.kept.LARGEST_BYTES", 10)
    kept_path(shop / "part.py").write_bytes(b"x" * 11)
    with pytest.raises(PlugError, match="larger"):
        kept_record(shop / "part.py")


# ---- told by a later build


@pytest.fixture(scope="module")
def later(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Built]:
    """Return what a build of the part tells that is 15 mm lower than the one that is marked."""
    shop = tmp_path_factory.mktemp("later")
    (shop / "part.py").write_text(PART, encoding="utf-8")
    build(shop / "part.py", {}, out=shop / "out", kinds=("csv",))
    mark_cut(shop / "part.py", shop / "out")
    built = build(shop / "part.py", {"height": 105.0}, out=shop / "out", kinds=("csv", "png", "html"))
    return shop / "out", built


def test_the_terminal_tells_it_in_five_lines(later: tuple[Path, Built]) -> None:
    """Parameters, figures, foam, all else, and the plug that is glued already."""
    changes = later[1].changes
    assert changes is not None
    rows = change_rows(changes)
    assert [row[:9].rstrip() for row in rows] == ["changed", "now", "cut foam", "cut else", "if glued"]
    assert rows[0].startswith("changed   height 120 -> 105")
    assert "height -15 mm" in rows[1]
    assert "take off" in rows[4]
    assert "15 mm where most (" in rows[4]


def test_the_summary_and_the_table_tell_the_same(later: tuple[Path, Built]) -> None:
    """Two layers are as they were but for their pins and final lines, the third is planed by 15 mm."""
    folder, built = later
    told = json.loads((folder / "summary.json").read_bytes())["changes"]
    rows = list(csv.DictReader((folder / "changes.csv").read_text(encoding="utf-8").splitlines()))
    assert [row["name"] for row in rows] == [one["name"] for one in told["workpieces"]]
    assert [row["verdict"] for row in rows] == [one["verdict"] for one in told["workpieces"]]
    assert told["parameters"] == [{"name": "height", "old": 120.0, "new": 105.0}]
    layers = {one["name"]: one for one in told["workpieces"] if one["kind"] == "layer"}
    assert "plane 15 mm more off it" in layers["L03"]["to_do"]
    assert layers["L01"]["verdict"] in ("the same", "still good")
    deck = next(one for one in told["surface"]["panels"] if one["name"] == "deck")
    assert deck["take_off_mm"] == pytest.approx(15.0, abs=0.2)
    volume = told["figures"]["volume_m3"]
    surface = told["surface"]
    assert surface["add_m3"] - surface["take_off_m3"] == pytest.approx(
        volume["new"] - volume["old"], abs=2e-9
    )
    assert built.summary["changes"] == told


def test_the_book_tells_it_first(later: tuple[Path, Built]) -> None:
    """Under the first heading, with the picture, and what is to be done as steps to tick."""
    page = (later[0] / "book.html").read_text(encoding="utf-8")
    _, _, first = page.partition('<section id="about">')
    first = first.partition("</section>")[0]
    assert first.index("What changed since foam was cut") < first.index("<canvas")
    assert re.search(r'data-step="[^"]+"> <span><strong>Layer L03: ', first)
    assert "If the plug is glued already" in first
    assert "Sidecar" not in first
    content = (later[0] / "pictures/changed.png").read_bytes()
    assert base64.b64encode(content).decode() in first
    with Image.open(io.BytesIO(content)) as picture:
        colours = {colour for _, colour in picture.convert("RGB").getcolors(1 << 20)}
    assert any(red > blue + 60 for red, _, blue in colours), "what is to be taken off is orange"


def test_without_a_mark_nothing_is_told(shop: Path, plugs: Plugs) -> None:
    """No word on the terminal, no table, and null in the summary."""
    run = plugs("build", "part.py", "--only", "csv", "--out", "plain")
    assert run.status == 0
    assert "\nchanged" not in run.out
    assert not (shop / "plain/changes.csv").exists()
    assert json.loads((shop / "plain/summary.json").read_bytes())["changes"] is None


# ---- between any two builds


def test_two_folders_are_compared_by_their_names(
    shop: Path, plugs: Plugs, records: dict[float, bytes]
) -> None:
    """No mark is needed; both directions; the same build twice has changed in nothing."""
    leave(shop, records[110.0], "low")
    leave(shop, records[120.0], "high")
    run = plugs("changed", "low", "high")
    assert (run.status, run.err) == (0, "")
    assert run.out.startswith("changed   height 110 -> 120")
    assert "block to bond on: deck: " in run.out
    assert "height 120 -> 110" in plugs("changed", "high", "low").out
    again = plugs("changed", "low", "low").out
    assert "no parameter" in again
    assert "its surface is where it was" in again
    table = list(csv.DictReader(plugs("changed", "low", "low", "--csv").out.splitlines()))
    assert {row["verdict"] for row in table} == {"the same"}


def test_folders_that_cannot_be_compared_are_told(
    shop: Path, plugs: Plugs, records: dict[float, bytes]
) -> None:
    """Missing, broken, of another form or another recipe; each by its own name, and nothing written."""
    leave(shop, records[110.0], "good")
    for how, content in broken(records[120.0]).items():
        leave(shop, content, how)
    other = replace(unpacked(records[120.0], param="x", place="y"), recipe="other")
    leave(shop, packed(other), "other")
    before = snapshot(shop)
    for name in ("nowhere", *broken(b""), "other"):
        assert three_lines(plugs("changed", "good", name))[0].startswith("NEW = ")
        if name != "other":
            assert three_lines(plugs("changed", name, "good"))[0].startswith("OLD = ")
    assert snapshot(shop) == before
