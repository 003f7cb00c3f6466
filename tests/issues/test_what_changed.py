"""A build is marked as the one that foam was cut from; every later one tells what changed against it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from plugs.changes.kept import kept_path, kept_record, record_in
from plugs.changes.record import FILE, packed, unpacked
from plugs.changes.recording import record_of
from plugs.ground.errors import PlugError
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
    assert {"floor", "side starboard", "side port", "deck", "aft", "front"} < set(record.places.names)
    assert (folders[1] / FILE).read_bytes() == content


def test_foam_and_layers_alone_leave_one_too(shop: Path, plugs: Plugs) -> None:
    """Of what they have: the layers, and not the templates."""
    assert plugs("build", "part.py", "--layers").status == 0
    assert record_in(shop / "exports/part").kinds == ("layer", "piece", "pocket pattern")


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
    assert kept_path(shop / "part.py").read_bytes() == records[110.0]
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
        assert path.read_bytes() == records[height]
    (shop / "part.cut-before.json").unlink()
    assert "no build is marked" in plugs("cut", "part.py", "--undo").out
    assert kept_record(shop / "part.py") is None
    assert plugs("cut", "part.py", "--undo").status == 0
    assert path.read_bytes() == records[120.0]


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
