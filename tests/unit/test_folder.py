"""A build's folder is written whole or not at all, and nothing of anybody else's is removed."""

from __future__ import annotations

import errno
import json
import os
import shutil
from hashlib import sha256
from pathlib import Path

import pytest

from plugs.files.folder import SUMMARY, FreshFolder
from plugs.files.written import Written
from plugs.ground.errors import PlugError


def build_into(folder: Path, files: dict[str, bytes]) -> None:
    """Write files, with a summary that lists them, as a build does."""
    with FreshFolder(folder) as fresh:
        fresh.write({**files, SUMMARY: listing(files)})
        fresh.swap_in()


def listing(files: dict[str, bytes]) -> bytes:
    """Return a summary that lists files, as a build's does."""
    return json.dumps(
        {"files": [{"path": name, "sha256": sha256(content).hexdigest()} for name, content in files.items()]}
    ).encode()


def contents(folder: Path) -> dict[str, bytes | None]:
    """Return all that is in a folder, hidden things too."""
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() if p.is_file() else None for p in folder.rglob("*")
    }


def test_folder_is_made_with_its_parents(tmp_path: Path) -> None:
    """A folder that is not there yet, nor the folder it lies in, is made."""
    out = tmp_path / "a" / "b"
    build_into(out, {"layers/one.dxf": b"1", "two.stl": b"2"})
    assert (out / "layers" / "one.dxf").read_bytes() == b"1"
    assert sorted(p.name for p in out.iterdir()) == ["layers", SUMMARY, "two.stl"]
    assert [p.name for p in out.parent.iterdir()] == ["b"]


def test_second_build_replaces_the_first_whole(tmp_path: Path) -> None:
    """A file that the second build does not write is gone."""
    build_into(tmp_path / "out", {"old.stl": b"1", "both.stl": b"1"})
    build_into(tmp_path / "out", {"both.stl": b"2"})
    assert sorted(contents(tmp_path)) == ["out", "out/both.stl", f"out/{SUMMARY}"]
    assert (tmp_path / "out" / "both.stl").read_bytes() == b"2"


def test_failed_build_leaves_the_last_one(tmp_path: Path) -> None:
    """An error before the swap changes nothing and leaves nothing behind."""
    build_into(tmp_path / "out", {"good.stl": b"1"})
    before = contents(tmp_path)
    with pytest.raises(ZeroDivisionError), FreshFolder(tmp_path / "out") as fresh:
        fresh.write({"bad.stl": b"2"})
        raise ZeroDivisionError
    assert contents(tmp_path) == before


def test_failed_build_takes_its_new_parents_away(tmp_path: Path) -> None:
    """Folders made on the way to one that was never written are removed again."""
    with pytest.raises(ZeroDivisionError), FreshFolder(tmp_path / "a" / "b" / "c"):
        raise ZeroDivisionError
    assert contents(tmp_path) == {}


@pytest.mark.parametrize("moved", [False, True])
def test_what_a_killed_build_left_is_cleared(tmp_path: Path, moved: bool) -> None:
    """The passing folder of a dead build is removed; the last good one, moved aside or not, stays good."""
    build_into(tmp_path / "out", {"good.stl": b"1"})
    before = contents(tmp_path)
    dead = tmp_path / ".out.new-4194305"  # above the largest number a process can have on Linux
    dead.mkdir()
    (dead / "half.stl").write_bytes(b"2")
    if moved:
        (tmp_path / "out").rename(tmp_path / ".out.old-4194305")
    with FreshFolder(tmp_path / "out"):
        pass
    assert contents(tmp_path) == before


def test_leftover_aside_is_dropped_when_the_new_one_is_in(tmp_path: Path) -> None:
    """Killed after the swap: the one put aside is the older."""
    build_into(tmp_path / "out", {"new.stl": b"2"})
    shutil.copytree(tmp_path / "out", tmp_path / ".out.old-4194305")
    build_into(tmp_path / "out", {"newer.stl": b"3"})
    assert sorted(contents(tmp_path)) == ["out", "out/newer.stl", f"out/{SUMMARY}"]


def test_a_running_build_is_left_alone(tmp_path: Path) -> None:
    """The passing folder of a process that runs is not removed."""
    alive = tmp_path / f".out.new-{os.getppid()}"
    alive.mkdir()
    build_into(tmp_path / "out", {"a": b"1"})
    assert alive.is_dir()


@pytest.mark.parametrize(
    ("files", "named"),
    [
        ({"notes.txt": b"mine"}, "notes.txt"),
        ({SUMMARY: b"{}", "notes.txt": b"mine"}, "notes.txt"),
        ({SUMMARY: b"not json"}, SUMMARY),
        ({SUMMARY: b'{"files": [{"path": "a.stl"}]}', "a.stl": b"1"}, "a.stl"),
        ({SUMMARY: listing({"a.stl": b"1"}), "a.stl": b"1", "sub/notes": b"mine"}, "sub"),
        ({SUMMARY: listing({"sub/a": b"1"}), "sub/a": b"1", "sub/notes": b"mine"}, "sub/notes"),
        ({SUMMARY: listing({"a.stl": b"1"}), "a.stl": b"changed"}, "a.stl"),
        ({SUMMARY: b"[" * 100_000, "z": b"mine"}, SUMMARY),
        ({SUMMARY: b'[1, 2, "files"]', "z": b"mine"}, SUMMARY),
        ({"sub/deep/notes.txt": b"mine"}, "sub"),
    ],
)  # fmt: skip
def test_foreign_files_are_refused(tmp_path: Path, files: dict[str, bytes], named: str) -> None:
    """A folder with anything that no build wrote is named, and stays as it is."""
    for name, content in files.items():
        path = tmp_path / "out" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    before = contents(tmp_path)
    with pytest.raises(PlugError) as caught:
        FreshFolder(tmp_path / "out")
    assert caught.value.param == "--out"
    assert caught.value.value == str(tmp_path / "out")
    assert f"holds {named}," in caught.value.reason
    assert "plug-1" in caught.value.remedy
    assert contents(tmp_path) == before


def test_empty_folder_and_droppings_are_accepted(tmp_path: Path) -> None:
    """An empty folder is filled, and what a file browser leaves is no reason to refuse."""
    out = tmp_path / "out"
    out.mkdir()
    build_into(out, {"a.stl": b"1"})
    (out / ".DS_Store").write_bytes(b"icons")
    build_into(out, {"a.stl": b"2"})
    assert sorted(p.name for p in out.iterdir()) == ["a.stl", SUMMARY]


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    """A file in the place of the folder is refused and kept."""
    (tmp_path / "out").write_bytes(b"mine")
    with pytest.raises(PlugError, match="this is a file"):
        FreshFolder(tmp_path / "out")
    with pytest.raises(PlugError, match="cannot be written"):
        FreshFolder(tmp_path / "out" / "inside")
    assert contents(tmp_path) == {"out": b"mine"}


def test_the_present_folder_can_be_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A dot means the folder one stands in, which is refused when it holds other things."""
    (tmp_path / "notes.txt").write_bytes(b"mine")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(PlugError, match=r"holds notes\.txt"):
        FreshFolder(Path())
    assert sorted(contents(tmp_path.parent / tmp_path.name)) == ["notes.txt"]


@pytest.mark.skipif(os.name != "posix", reason="links need rights elsewhere")
def test_a_link_is_followed(tmp_path: Path) -> None:
    """A link to a folder stays a link; the folder it leads to is replaced, time and again."""
    (tmp_path / "far").mkdir()
    (tmp_path / "out").symlink_to(tmp_path / "far")
    for content in (b"1", b"2", b"3"):
        build_into(tmp_path / "out", {"a.stl": content})
    assert (tmp_path / "out").is_symlink()
    assert (tmp_path / "far" / "a.stl").read_bytes() == b"3"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["far", "out"]


def test_system_refusal_at_the_start(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No right to write: the system's own words, and where one might write."""

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "mkdir", refuse)
    with pytest.raises(PlugError) as caught:
        FreshFolder(tmp_path / "out")
    assert caught.value.reason == "the folder cannot be written: Permission denied"
    assert str(Path("exports/try-1")) in caught.value.remedy


def test_full_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No room left: how much is needed, and the last good one stays."""
    build_into(tmp_path / "out", {"good.stl": b"1"})
    before = contents(tmp_path)

    def refuse(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with (
        monkeypatch.context() as patch,
        pytest.raises(PlugError) as caught,
        FreshFolder(tmp_path / "out") as fresh,
    ):
        patch.setattr(Path, "write_bytes", refuse)
        fresh.write({"big.stl": bytes(2_500_000)})
    assert "No space left" in caught.value.reason
    assert "2.5 MB" in caught.value.remedy
    assert contents(tmp_path) == before


def stepwise(_one: Path, _other: Path) -> bool:
    """Be a system that exchanges no folders."""
    return False


@pytest.mark.parametrize("refused", [".out.new", "out"])
def test_swap_that_fails_puts_the_old_one_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, refused: str
) -> None:
    """Without an exchange, the first or the second of the two moves fails: nothing has happened."""
    build_into(tmp_path / "out", {"good.stl": b"1"})
    before = contents(tmp_path)
    move = Path.rename

    def fails_once(self: Path, target: Path) -> Path:
        if self.name.startswith(refused):
            raise PermissionError(13, "Permission denied")
        return move(self, target)

    monkeypatch.setattr("plugs.files.folder._exchanged", stepwise)
    with pytest.raises(PlugError, match="cannot be replaced"), FreshFolder(tmp_path / "out") as fresh:
        fresh.write({"new.stl": b"2"})
        monkeypatch.setattr(Path, "rename", fails_once)
        fresh.swap_in()
    assert contents(tmp_path) == before


def test_a_name_too_long_is_an_input_error(tmp_path: Path) -> None:
    """What the file system cannot name is told in three lines as well."""
    with pytest.raises(PlugError, match="cannot be written"):
        FreshFolder(tmp_path / ("n" * 300))


def test_a_file_lies_in_its_folder_as_soon_as_it_is_added(tmp_path: Path) -> None:
    """And a fault of one, or of whoever wrote it elsewhere, is told with what all of them take."""
    full = OSError(errno.ENOSPC, "no space left")
    with FreshFolder(tmp_path / "out") as fresh:
        fresh.files.add({"layers/one.svg": b"1", "layers/one.dxf": "23"})
        assert (fresh.fresh / "layers" / "one.dxf").read_bytes() == b"23"
        assert fresh.files.of("layers/one") == ["layers/one.dxf", "layers/one.svg"]
        with pytest.raises(AssertionError, match="made twice"):
            fresh.files.add({"layers/one.svg": b"2"})
        fresh.files.add({"layers/two.svg": Written(size=2_000_000, sha256="", fault=full)})
        with pytest.raises(PlugError, match="a file could not be written: no space left") as caught:
            fresh.write({SUMMARY: b"{}"})
        assert "free 2.0 MB" in caught.value.remedy
    assert not (tmp_path / "out").exists()
