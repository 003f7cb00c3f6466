"""In a process that lives on, an edit costs what it changes: drawings, files and pictures are used again."""

from __future__ import annotations

import pickle
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

import plugs.stages.cloth
import plugs.writing
from plugs.build import build
from plugs.files.bundle import Bundle
from plugs.ground.workers import Crew, Worker
from plugs.stages.shelf import Shelf
from plugs.summary.summary import Built
from plugs.work import opened
from tests.unit.test_work import BOX

KINDS = ("glb", "stl", "csv", "dxf", "svg", "pdf", "png", "html")
MAKERS = ("layer_drawings", "template_drawings", "edge_drawings", "sheet_drawings", "cloth_drawings")

Save = Callable[..., Built]


@pytest.fixture(scope="module")
def made() -> Iterator[list[str]]:
    """Return what is drawn here, and what other processes are sent, as it comes."""
    names: list[str] = []
    with pytest.MonkeyPatch.context() as patch:
        for name in MAKERS:
            honest = getattr(plugs.writing, name)

            def drawn(work: Any, name: str = name, honest: Any = honest) -> Any:
                names.append(name)
                return honest(work)

            drawn.__name__ = name
            patch.setattr(plugs.writing, name, drawn)
        sent = Worker._sent

        def noted(worker: Worker, packed: bytes) -> Any:
            _, function, arguments = pickle.loads(packed)
            first = arguments[0] if arguments else None
            stems = first.stems if isinstance(first, Bundle) else [*first] if isinstance(first, dict) else []
            names.append(" ".join([function.__name__, *stems]))
            return sent(worker, packed)

        patch.setattr(Worker, "_sent", noted)
        yield names


@pytest.fixture(scope="module")
def save(tmp_path_factory: pytest.TempPathFactory, made: list[str]) -> Iterator[Save]:
    """Return what builds the box with some words, in a process that lives on and has built it once."""
    place, shelf = tmp_path_factory.mktemp("box"), Shelf()
    (place / "box.py").write_text(BOX.replace("WORDS", ""), encoding="utf-8")
    with Crew() as crew:

        def saved(**words: object) -> Built:
            made.clear()
            return build(place / "box.py", words, out=place / "out", kinds=KINDS, shelf=shelf, crew=crew)

        saved()
        assert {"layer_drawings", "make_pictures"} <= set(made)
        assert sum(name.startswith("make_files") for name in made) > 5
        n_papers = len(list((place / "out" / "paper").glob("*.pdf")))
        assert sum(name.startswith("make_paper") for name in made) == n_papers > 0
        yield saved


def test_words_that_nothing_is_drawn_of_draw_nothing(save: Save, made: list[str]) -> None:
    """The price of a pack changes the shopping list; the same recipe changes nothing at all."""
    before = {f["path"]: f["sha256"] for f in save().summary["files"]}
    assert made == []
    after = {f["path"]: f["sha256"] for f in save(pack=25.0).summary["files"]}
    assert made == ["pack_pdf"], "which tells what to buy"
    changed = {name for name in before if before[name] != after[name]}
    assert {"book.html"} <= changed <= {"book.html", "shopping.csv", "record.json"}


def test_a_resin_cuts_no_cloth_anew(save: Save, made: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Nor is any drawn: cloth is cut by what is woven, over the skin that the recipe gives."""
    save()
    monkeypatch.setattr(plugs.stages.cloth, "cut_cloth", None)
    monkeypatch.setattr(plugs.stages.cloth, "lay_nets", None)
    save(resin="polyester")
    assert made == ["pack_pdf"], "which tells what to buy"


def test_what_is_drawn_anew_and_comes_out_the_same_is_not_rendered(save: Save, made: list[str]) -> None:
    """The price of a sheet has the sheets arranged anew, as they were: no file and no picture of them."""
    save()
    save(price=25.0)
    assert made == ["sheet_drawings", "pack_pdf"]


def test_only_files_whose_drawings_changed_are_rendered(save: Save, made: list[str]) -> None:
    """A wider saw cut moves the pieces on their sheets; all files are those of a process that begins anew."""
    save()
    out = save(kerf=9.0).folder
    assert [name for name in made if name != "sheet_drawings"] == ["make_files sheets/sheet-01", "pack_pdf"]
    anew = build(out.parent / "box.py", {"kerf": 9.0}, out=out.parent / "anew", kinds=KINDS).folder
    names = {path.relative_to(anew) for path in anew.rglob("*.*")}
    assert names == {path.relative_to(out) for path in out.rglob("*.*")}
    assert [name for name in names if (anew / name).read_bytes() != (out / name).read_bytes()] == []


def test_what_a_function_read_decides_whether_it_is_asked_again(tmp_path: Path) -> None:
    """Of words and of stages; what it read under a condition counts as soon as it is read."""
    path, shelf, asked = tmp_path / "box.py", Shelf(), []
    path.write_text(BOX.replace("WORDS", ""), encoding="utf-8")

    def told(work: Any) -> tuple[float, str]:
        asked.append(work.plug.name)
        unit = work.plug.display_unit if work.plug.cutting.kerf > 3.0 else "none"
        return float(work.layers[0].thickness), unit

    def ask(**words: object) -> Any:
        asked.clear()
        return opened(path, words, shelf=shelf).again("told", told), len(asked)

    assert ask() == ((40.0, "none"), 1)
    assert ask(resin="polyester", unit="in") == ((40.0, "none"), 0)
    assert ask(kerf=4.0) == ((40.0, "mm"), 1)
    assert ask(kerf=4.0, unit="in") == ((40.0, "in"), 1)
    assert ask(kerf=4.0, unit="in", allowance=4.0)[1] == 1


def test_what_is_read_beside_words_and_stages_is_refused(tmp_path: Path) -> None:
    """Nothing could tell whether it has changed."""
    path = tmp_path / "box.py"
    path.write_text(BOX.replace("WORDS", ""), encoding="utf-8")
    with pytest.raises(AttributeError, match="parameters"):
        opened(path, {}, shelf=Shelf()).again("told", lambda work: work.parameters)
