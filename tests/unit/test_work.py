"""Stages of the work are made when asked for, kept, and made anew only where their words changed."""

from __future__ import annotations

import ast
import gc
import re
import runpy
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any, ClassVar

import pytest
import trimesh

import plugs.stages.shape
import plugs.watching
from plugs.body.body import Solid
from plugs.cli import main
from plugs.ground import checking
from plugs.ground.errors import PlugError
from plugs.laminate.layup import Layup
from plugs.stages.foam import Layering
from plugs.stages.shelf import Shelf
from plugs.stages.stage import Staged, stage
from plugs.work import Work, opened, work_out
from tests.cli.conftest import PART
from tests.reading import WORDS, NotedWork, stages_of

ROOT = Path(__file__).resolve().parents[2]

STAGES = stages_of(Work)

HEAVY = frozenset(STAGES) - {"drawn", "forms", "layup", "skin", "lines", "cutters"}
"""Stages that take their time."""

BOX = """from plugs import *

def box(length=300.0, resin="epoxy", allowance=3.0, price=20.0, unit="mm", kerf=3.0, pack=30.0, foot=6.0):
    low = lambda: Corner(100.0, 0.0)
    return Plug(
        name="Box", panels=("floor", "side", "deck"),
        stations=[Station(x=x, corners={"low": low(), "high": Corner(90.0, 80.0, 12.0)}) for x in (0.0, length)],
        skin=Skin(thickness=2.0),
        stack=Stack(thicknesses=(40.0,), allowance=allowance),
        stock=[Stock(width=600.0, height=500.0, thickness=40.0, price=price)],
        cutting=Cutting(kerf=kerf),
        schedule=Schedule(plies=[Ply(cloth="cloth 280")], resin=resin),
        adhesive=Adhesive(name="paste", spread_kg_m2=0.2, packs={1.0: pack}),
        templates=Templates(stations=(150.0,), foot_diameter=foot),
        display_unit=unit, foam_stays=False, WORDS
    )
"""  # noqa: E501


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> tuple[Work, Shelf]:
    """Return the box with all its stages made, and the shelf that they lie on."""
    path, shelf = tmp_path_factory.mktemp("first") / "box.py", Shelf()
    path.write_text(BOX.replace("WORDS", ""), encoding="utf-8")
    work = opened(path, {}, shelf=shelf)
    for name in STAGES:
        getattr(work, name)
    return work, shelf


@pytest.fixture
def box(tmp_path: Path, first: tuple[Work, Shelf]) -> Callable[..., Work]:
    """Return what opens the box with some words, after one whose stages are all made."""
    path, shelf = tmp_path / "box.py", Shelf()
    shelf._kept.update(first[1]._kept)

    def open_it(more: str = "", **words: object) -> Work:
        path.write_text(BOX.replace("WORDS", more), encoding="utf-8")
        return opened(path, words, shelf=shelf)

    return open_it


def same(one: Work, other: Work) -> set[str]:
    """Return the stages that two works share, all being asked for."""
    return {name for name in STAGES if getattr(one, name) is getattr(other, name)}


# ---- asked for what is wanted


def test_a_recipe_that_is_loaded_has_made_nothing_heavy(tmp_path: Path) -> None:
    """It is read, run and checked; a figure makes what it follows from, and no more."""
    path = tmp_path / "part.py"
    path.write_text(PART, encoding="utf-8")
    work = plugs.load(path, depth=6.0)
    assert work.stages == frozenset()
    assert work.parameters["depth"] == 6.0
    assert work.sanding.blocks is not None
    assert not work.stages & HEAVY - {"sanding"}
    assert 0.005 < work.body.volume_m3 < 400.0 * 300.0 * 125.0 * 1e-9
    assert not work.stages & {"finish", "layering", "pieces", "sheets", "cloth"}


@pytest.mark.parametrize(
    ("kinds", "made"),
    [
        (("stl",), {"faces", "body", "finish", "finished", "skin_proof", "in_stack"}),
        (("3mf",), {"faces", "body", "finish", "finished", "skin_proof", "in_stack"}),
        (
            ("glb",),
            {
                *("faces", "body", "finish", "finished", "skin_proof", "in_stack", "standing", "layering"),
                *("looks", "layers_cut"),
            },
        ),
    ],
)
def test_what_is_not_wanted_is_not_made(
    first: tuple[Work, Shelf], tmp_path: Path, kinds: tuple[str, ...], made: set[str]
) -> None:
    """`--only stl` makes the body and the finished surface, and nothing that is cut or laid up."""
    work = Work(first[0].plug)
    work.write(tmp_path / "out", kinds)
    assert work.stages & HEAVY - {"kits", "features", "hard_points", "seats"} == made


def test_looking_for_findings_draws_nothing(
    box: Callable[..., Work], monkeypatch: pytest.MonkeyPatch
) -> None:
    """`check` asks every stage that a check looks at, and makes neither drawing nor file nor scene."""
    import plugs.drawings
    import plugs.files.drawing_run
    import plugs.pictures.run
    import plugs.scene

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("something is drawn")

    for room in (plugs.drawings, plugs.scene):
        for name, one in vars(room).items():
            if callable(one) and getattr(one, "__module__", "") == room.__name__:
                monkeypatch.setattr(room, name, refuse)
    monkeypatch.setattr(plugs.files.drawing_run.DrawingRun, "__init__", refuse)
    monkeypatch.setattr(plugs.pictures.run.PictureRun, "__init__", refuse)
    work = box()
    assert work.findings
    assert {"sheets", "cloth", "resin"} <= work.stages


def test_what_was_worked_out_stays(box: Callable[..., Work]) -> None:
    """No stage can be set, and each is made once."""
    work = box()
    for name in (*STAGES, "layers", "laying", "inside", "findings", "summary"):
        with pytest.raises(AttributeError):
            setattr(work, name, None)
    assert work.body is work.body
    assert work.templates is work.templates


# ---- used again


LAID = {"layup", "edges", "cloth", "drape", "resin", "part", "sags", "shopping"}
FOAM = {"body", "finish", "layering", "pieces", "pins", "blanks", "sheets", "templates", "sanding"}


@pytest.mark.parametrize(
    ("words", "anew"),
    [
        ({"resin": "polyester"}, LAID - {"cloth", "drape"}),
        ({"pack": 25.0}, {"part", "shopping"}),
        ({"unit": "in"}, {"drape", "sheets", "shopping"}),  # what is to be bought is named in the unit
        ({"price": 25.0}, {"sheets", "shopping"}),
        ({"kerf": 4.0}, {"sheets", "shopping"}),
        ({"foot": 8.0}, {"gauges", "templates", "base", "part", "shopping"}),
        ({"allowance": 4.0}, FOAM - {"body", "finish", "sanding"}),
        ({"length": 310.0}, FOAM | LAID),
    ],
)
def test_a_stage_whose_words_did_not_change_is_used_again(
    first: tuple[Work, Shelf], box: Callable[..., Work], words: dict[str, object], anew: set[str]
) -> None:
    """The very same objects; what takes a word that changed, or a stage made anew, is made anew."""
    watched = FOAM | LAID | {"gauges", "base"}
    kept = same(first[0], box(**words))
    assert anew & kept - {"sags"} == set(), "made of words that changed"
    follow = {"sheets", "shopping", "part", "base", "gauges", "templates", "standing"}
    assert watched - anew - kept - (follow if "layering" in anew else set()) == set()


def test_a_body_whose_file_changed_is_cut_anew(box: Callable[..., Work], tmp_path: Path) -> None:
    """The words are the same, the file that they name is not; the lines do not follow it, the foam does."""
    path = tmp_path / "tub.stl"
    words = 'mating=[MatingBody(body=Path(__file__).with_name("tub.stl"), unit="mm", name="tub")],'

    def with_body(size: float) -> Work:
        trimesh.creation.box((100.0, size, 60.0)).apply_translation((-30.0, 0.0, 30.0)).export(path)
        work = box(words.replace("Path", "__import__('pathlib').Path"))
        assert work.body.mating == work.cutters.mating  # asked for while the file is so
        return work

    one, again, other = with_body(120.0), with_body(120.0), with_body(110.0)
    assert one.cutters is again.cutters
    assert one.body is again.body
    assert other.cutters is not one.cutters
    assert other.body is not one.body
    assert other.lines is one.lines
    assert other.body.volume_m3 > one.body.volume_m3


def test_what_has_no_digest_is_never_used_again() -> None:
    """Solids of the kernel cannot be told from others: what takes them is made anew, and all after it."""
    plug = opened(ROOT / "recipes" / "bonnet_scoop.py", {}).plug
    work = Work(replace(plug, added=(object(),)), shelf=Shelf())
    asked = ("drawn", "layup", "lines", "faces", "cutters", "body", "finish", "layering", "cloth", "gauges")
    assert {name for name in asked if work._key(STAGES[name]) is None} == {
        name for name in asked if "cutters" in before(name)
    }


def before(name: str) -> set[str]:
    """Return a stage with all that it follows from."""
    return {name}.union(*(before(one) for one in STAGES[name].after))


class Trial(Staged):
    """Two stages that count how often they are made."""

    tried: ClassVar[list[str]] = []

    @stage("name")
    def early(self) -> list[str]:
        """Made of the name."""
        self.tried.append("early")
        if self.plug.name == "bad":
            raise PlugError(param="name", value="bad", reason="it is", remedy="use 1", where="early")
        return [self.plug.name]

    @stage("currency", after=("early",))
    def late(self) -> list[str]:
        """Made of the currency, after the name."""
        self.tried.append("late")
        return [*self.early, self.plug.currency]


@pytest.fixture
def trial(monkeypatch: pytest.MonkeyPatch) -> Callable[..., Trial]:
    """Return what gives trials that share a shelf, nothing made yet."""
    monkeypatch.setattr(Trial, "tried", [])
    shelf, bare = Shelf(), opened(ROOT / "recipes" / "bonnet_scoop.py", {})
    return lambda **words: Trial(replace(bare.plug, **words), recipe=bare.recipe, shelf=shelf)


def test_a_stage_that_failed_is_not_kept(trial: Callable[..., Trial]) -> None:
    """It is tried again each time, and what came to something before is still there after another name."""
    for _ in range(2):
        with pytest.raises(PlugError):
            _ = trial(name="bad").late
    assert Trial.tried == ["late", "early"] * 2
    assert trial(name="good").late == ["good", "EUR"]
    assert trial(name="good").late == ["good", "EUR"]
    assert Trial.tried[4:] == ["late", "early"]
    assert trial(name="good", currency="GBP").late == ["good", "GBP"]
    assert Trial.tried[6:] == ["late"], "only what follows from the currency is made anew"


def test_an_error_bears_the_recipes_name_once(trial: Callable[..., Trial]) -> None:
    """However many stages it comes through."""
    with pytest.raises(PlugError) as fault:
        _ = trial(name="bad").late
    assert fault.value.where == "bonnet_scoop.py, early"


# ---- what a stage says that it reads, and what it does


def test_stages_read_what_they_declare_as_they_run(first: tuple[Work, Shelf]) -> None:
    """No stage's own function reads a word of the plug, or asks for a stage, that is not declared."""
    work = NotedWork(first[0].plug)
    for name in STAGES:
        getattr(work, name)
    notes = work.notes
    assert set(notes.words) == set(STAGES)
    strange = {
        name: (notes.words[name] - set(one.words)) | (notes.stages[name] - set(one.after))
        for name, one in STAGES.items()
    }
    assert not {name: found for name, found in strange.items() if found}
    assert notes.words["drawn"] >= {"stations", "panels", "front", "rear"}, "the notes are taken"
    assert notes.stages["body"] == {"lines", "cutters", "faces"}


def test_stages_declare_what_their_text_reads() -> None:
    """Whatever way a stage's function may take: each word and each stage, and none for nothing."""
    read = {name: (words_in(name), stages_in(name)) for name in STAGES}
    declared = {name: (set(one.words), set(one.after)) for name, one in STAGES.items()}
    assert read == declared


@cache
def functions_of_stages() -> dict[str, ast.FunctionDef]:
    """Return every function of the stages' room and every method of a plug, by name."""
    found: dict[str, ast.FunctionDef] = {}
    rooms = {path for path in (ROOT / "plugs" / "stages").glob("*.py") if path.stem not in {"stage", "shelf"}}
    for path in sorted(rooms | {ROOT / "plugs" / "recipe" / "plug.py"}):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef):
                found[node.name] = node
    return found


@cache
def methods_of_work() -> dict[str, ast.FunctionDef]:
    """Return the methods of a work by name."""
    tree = ast.parse((ROOT / "plugs" / "stages" / "worked.py").read_text(encoding="utf-8"))
    (kind,) = (node for node in tree.body if isinstance(node, ast.ClassDef) and node.name == "Worked")
    return {node.name: node for node in kind.body if isinstance(node, ast.FunctionDef)}


def words_in(name: str) -> set[str]:
    """Return the words that a stage's function, and those that it hands the plug to, can read."""
    found: set[str] = set()
    seen: set[str] = set()
    waiting = [(node, "self.plug") for node in bodies_of(name)]
    while waiting:
        node, plug = waiting.pop()
        for part in ast.walk(node):
            if isinstance(part, ast.Attribute) and ast.unparse(part.value) == plug:
                if part.attr in WORDS:
                    found.add(part.attr)
                else:
                    waiting.append((functions_of_stages()[part.attr], "self"))
            if isinstance(part, ast.Call) and any(ast.unparse(one) == plug for one in part.args):
                called = ast.unparse(part.func).rpartition(".")[2]
                at = [ast.unparse(one) for one in part.args].index(plug)
                callee = functions_of_stages()[called]
                if called not in seen:
                    seen.add(called)
                    waiting.append((callee, callee.args.args[at].arg))
    return found


def bodies_of(name: str) -> list[ast.FunctionDef]:
    """Return a method of a work, with the plain properties that it asks for."""
    node = methods_of_work()[name]
    asked = {part.attr for part in ast.walk(node) if is_of_self(part)}
    return [node] + [
        body for one in asked & methods_of_work().keys() - set(STAGES) for body in bodies_of(one)
    ]


def stages_in(name: str) -> set[str]:
    """Return the stages that a stage's function, and the plain properties that it asks for, can ask for."""
    asked = {part.attr for node in bodies_of(name) for part in ast.walk(node) if is_of_self(part)}
    return asked & set(STAGES)


def is_of_self(node: ast.AST) -> bool:
    """Return whether a part of a program is an attribute of the work."""
    return isinstance(node, ast.Attribute) and ast.unparse(node.value) == "self"


def test_no_stage_takes_more_than_four_arguments() -> None:
    """Neither do the functions that stages are made by, private ones apart."""
    counts = {
        name: len([*node.args.args, *node.args.kwonlyargs])
        for name, node in functions_of_stages().items()
        if not name.startswith("_")
    }
    assert {name: count for name, count in counts.items() if count > 4} == {}


def test_no_record_of_a_stage_is_ever_half_filled() -> None:
    """All its fields are given when it is made: none has a value that stands for one to come."""
    halves = [
        f"{path.stem}.{kind.name}.{field.target.id}"
        for path in sorted((ROOT / "plugs" / "stages").glob("*.py"))
        for kind in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(kind, ast.ClassDef)
        for field in kind.body
        if isinstance(field, ast.AnnAssign) and isinstance(field.target, ast.Name) and field.value is not None
    ]
    assert halves == []


# ---- words are checked once


def test_each_record_is_checked_once(
    first: tuple[Work, Shelf], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From the recipe to its last finding, each record's words are read against its annotations one time."""
    asked: list[str] = []
    honest = checking.checked

    def counted(record: object, kind: type[Any], param: str) -> Any:
        asked.append(param)
        return honest(record, kind, param)

    rooms = [room for room in sys.modules.values() if getattr(room, "checked", None) is honest]
    for room in rooms:
        monkeypatch.setattr(room, "checked", counted)
    work = opened(first[0].recipe.path if first[0].recipe else tmp_path, {})
    for name in STAGES:
        getattr(work, name)
    assert work.findings
    assert {"", "stock[0]", "templates", "schedule", "schedule.plies[0]", "adhesive", "skin"} <= set(asked)
    assert len(asked) == len(set(asked)), "something is checked again"


# ---- a person who edits, scripts or keeps a notebook


def edited(
    folder: Path,
    edits: list[dict[str, str]],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Run `watch` on the box in this process, with a save of the recipe for each edit."""

    def saves(recipe: Path, changes: dict[str, object], **words: Any) -> None:
        for edit in edits:
            text = BOX.replace("WORDS", "")
            for old, new in edit.items():
                text = text.replace(old, new)
            recipe.write_text(text, encoding="utf-8")
            for asked in plugs.watching.rounds_of(words["kinds"]):
                made = {"kinds": asked, "out": words["out"], "say": words["say"], "open_kernel": None}
                words["make"](recipe, changes, **made)

    monkeypatch.setattr(plugs.watching, "watch", saves)
    path = folder / "box.py"
    path.write_text(BOX.replace("WORDS", ""), encoding="utf-8")
    assert main(["watch", str(path), "--out", str(folder / "out"), "--only", "stl", "--only", "3mf"]) == 0


def test_a_save_that_leaves_the_shape_makes_no_body(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Resin, price and unit are edited: the foam, its layers and pieces are those of the round before."""
    made: list[str] = []
    for name in ("foam_body", "finished_body"):
        honest = getattr(plugs.stages.shape, name)
        monkeypatch.setattr(
            plugs.stages.shape, name, lambda *a, name=name, honest=honest: (made.append(name), honest(*a))[1]
        )
    edits: list[dict[str, str]] = [
        {},
        {'"epoxy"': '"polyester"'},
        {"price=20.0": "price=25.0"},
        {'"mm", kerf': '"in", kerf'},
    ]
    edited(tmp_path, edits, monkeypatch)
    assert made == ["foam_body", "finished_body"]
    made.clear()
    edited(tmp_path, [{}, {"length=300.0": "length=310.0"}], monkeypatch)
    assert made == ["foam_body", "finished_body"] * 2


def test_six_saves_hold_no_more_than_three(box: Callable[..., Work]) -> None:
    """Works, bodies and layups that nobody asks for any more are gone: a save takes the last one's place."""
    kinds = (Work, Solid, Layering, Layup)

    def alive() -> list[int]:
        gc.collect()
        every = gc.get_objects()
        return [sum(type(one) is kind for one in every) for kind in kinds]

    def save(i: int) -> None:
        work = box(resin=("epoxy", "polyester")[i % 2], allowance=3.0 + 0.1 * (i % 2))
        assert work.layers
        assert work.layup is not None

    for i in range(3):
        save(i)
    after_three = alive()
    for i in range(3, 6):
        save(i)
    assert alive() == after_three


def test_the_example_of_the_readme_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """As it stands there, ten lines and what it prints."""
    text = (ROOT / "plugs" / "recipe" / "README.md").read_text(encoding="utf-8")
    _, _, rest = text.partition("## From a script or a notebook\n")
    lines = [line[4:] for line in rest.partition("\n## ")[0].splitlines() if line.startswith("    ")]
    assert 8 <= len(lines) <= 10
    (tmp_path / "recipes").mkdir()
    shutil.copy(ROOT / "recipes" / "seat_hump.py", tmp_path / "recipes")
    monkeypatch.chdir(tmp_path)
    example = tmp_path / "example.py"
    example.write_text("\n".join(lines), encoding="utf-8")
    runpy.run_path(str(example))
    said = capsys.readouterr().out.splitlines()
    assert re.fullmatch(r"\d+\.\d litres of foam, 7 layers", said[0])
    assert said[-1] == "True True"
    found = {path.name for path in (tmp_path / "exports" / "seat_hump_310").rglob("*") if path.is_file()}
    assert found == {"foam.stl", "foam.3mf", "record.json", "summary.json"}


def test_a_notebook_shows_a_work(first: tuple[Work, Shelf]) -> None:
    """As a picture of its foam, and in one line that says what has been made."""
    work = first[0]
    assert work._repr_png_()[:8] == b"\x89PNG\r\n\x1a\n"  # ISO/IEC 15948, 5.2
    assert repr(Work(work.plug)) == "<Work on 'Box', made: nothing>"
    assert "<Work on 'Box' of box.py, made: drawn" in repr(work)
    assert "\n" not in repr(work)


def test_a_notebook_shows_a_plug(first: tuple[Work, Shelf]) -> None:
    """As its work shows it, with nothing imported but the package."""
    plug = first[0].plug
    assert plug._repr_png_() == work_out(plug)._repr_png_()
    program = "from plugs import Plug; print(callable(Plug._repr_png_))"
    said = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True).stdout
    assert said.strip() == "True"
