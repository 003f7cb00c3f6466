"""A recipe's own kinds of file and findings go through the house's tables; their faults are told."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest

from plugs import Check, Output
from plugs.build import build
from plugs.files.kinds import KINDS
from plugs.ground.errors import PlugError
from plugs.recipe.own import own_files, own_findings
from plugs.work import load, work_out
from plugs.writing import OUTPUTS
from tests.cli.conftest import PART, Plugs, snapshot, three_lines

ROOT = Path(__file__).parents[2]
README = (ROOT / "plugs" / "recipe" / "README.md").read_text(encoding="utf-8")
(OWN,) = re.findall(r"```python\n(from plugs import Check.*?)```", README, flags=re.DOTALL)
"""The example of the README."""


def recipe_with(words: str = "**OWN,", own: str = OWN) -> str:
    """Return the part with more words and functions of its own."""
    text = PART.replace("\n\n\ndef part", f"\n{own}\n\ndef part", 1)
    return text.replace('name="Part",', f'name="Part", {words}')


@pytest.fixture
def own(shop: Path) -> Path:
    """Return a folder with a part that has an output and a check of its own."""
    (shop / "part.py").write_text(recipe_with(), encoding="utf-8")
    return shop


def test_the_table_has_every_kind_that_the_house_writes() -> None:
    """Each once, and the book last, after all that it shows."""
    assert sorted(output.kind for output in OUTPUTS) == sorted(KINDS)
    assert OUTPUTS[-1].kind == "html"


def test_only_the_recipes_own_kind(own: Path, plugs: Plugs) -> None:
    """Its files, told in the summary, and the findings of the stages that it shows."""
    run = plugs("build", "part.py", "--only", "foam-list")
    assert (run.status, run.err) == (0, "")
    folder = own / "exports" / "part"
    names = {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}
    assert names == {"record.json", "shop/foam-list.txt", "summary.json"}
    work = load("part.py")
    rows = (folder / "shop" / "foam-list.txt").read_text().splitlines()
    assert rows == [f"{layer.name}: 50 mm" for layer in work.layers]
    summary = json.loads((folder / "summary.json").read_bytes())
    assert [f["path"] for f in summary["files"]] == ["record.json", "shop/foam-list.txt"]
    assert summary["layers"] is not None
    assert summary["sheets"] is None
    assert "mind: recess on deck: the middle of the pocket lies 40 mm from the filler neck" in run.out


def test_own_kinds_are_written_with_the_rest_and_can_be_left_out(own: Path, plugs: Plugs) -> None:
    """Without a word of the command line they are there; --without takes them out."""
    others = [word for kind in KINDS if kind != "csv" for word in ("--without", kind)]
    assert plugs("build", "part.py", *others, "--out", "with").status == 0
    assert plugs("build", "part.py", *others, "--without", "foam-list", "--out", "bare").status == 0
    new = set(snapshot(own / "with")) - set(snapshot(own / "bare"))
    assert new == {"shop", "shop/foam-list.txt"}


@pytest.mark.parametrize("command", ["build", "watch"])
@pytest.mark.parametrize("flag", ["--only", "--without"])
def test_an_unknown_kind_is_refused_with_all_that_are_known(
    own: Path, plugs: Plugs, command: str, flag: str
) -> None:
    """The recipe's own too; nothing is written."""
    which, _, do = three_lines(plugs(command, "part.py", flag, "foam-lits"))
    assert which == f"{flag} = foam-lits"
    assert do.endswith(", ".join([*KINDS, "foam-list"]))
    assert not (own / "exports").exists()


def test_a_work_refuses_an_unknown_kind(own: Path) -> None:
    """In a script as on the command line."""
    with pytest.raises(PlugError) as error:
        load(own / "part.py").write(own / "out", kinds=("foam-lits",))
    assert (error.value.param, error.value.value) == ("kinds", "foam-lits")


def test_own_findings_stand_in_the_section_of_their_stage(own: Path) -> None:
    """A note goes where its stage's work is done; what is to be minded, before work begins."""
    note = OWN.replace('severity="mind"', 'severity="note"')
    for text, sections in ((OWN, ["cautions"]), (note, ["cutting"])):
        (own / "part.py").write_text(recipe_with(own=text), encoding="utf-8")
        built = build(own / "part.py", {}, out=own / "out", kinds=("html",))
        page = (built.folder / "book.html").read_text(encoding="utf-8")
        chapters = re.findall(r'<section id="(\w+)">(.*?)</section>', page, flags=re.DOTALL)
        assert [name for name, body in chapters if "from the filler neck" in body] == sections
        assert 'href="#cautions"' in dict(chapters)["cutting"] or text == note


@pytest.mark.parametrize(
    ("stage", "section"),
    [
        ("body", "cautions"), ("pins", "stacking"), ("sheets", "cutting"), ("templates", "templates"),
        ("sanding", "sanding"), ("cloth", "skin"), ("shopping", "shopping"),
    ],
)  # fmt: skip
def test_each_stage_has_its_section(stage: str, section: str) -> None:
    """Of a note whose code the book does not know."""
    from plugs.book.book import SECTIONS
    from plugs.book.scene import BookScene
    from plugs.book.source import BookSource

    note = {"code": "own", "severity": "note", "stage": stage, "where": "w", "message": "m", "remedy": "r"}
    source = BookSource(
        summary={"findings": [note]}, drawings={}, scene=BookScene.__new__(BookScene), pictures={}
    )
    names = [name for name, _, _ in SECTIONS]
    shown = "all" if section == "cautions" else section
    assert section in names
    assert "m" in source.findings(shown)
    others = {*names, "all", "recess"} - {shown, "more"}  # more has drawings only
    assert not any(source.findings(other) for other in others)


def test_an_error_is_told_as_one_and_first() -> None:
    """Fixed: what must not be done as it stands stood in the book as a note, after the warnings."""
    from plugs.book.scene import BookScene
    from plugs.book.source import BookSource

    found = [
        {"code": "dose-x", "severity": severity, "where": "resin", "message": severity, "remedy": "r"}
        for severity in ("note", "mind", "stop")
    ]
    source = BookSource(
        summary={"findings": found}, drawings={}, scene=BookScene.__new__(BookScene), pictures={}
    )
    assert re.findall(r"<strong>(\w+)", source.findings("skin")) == ["Stop", "Mind", "Note"]
    assert re.findall(r"<strong>(\w+)", source.findings("all")) == ["Stop", "Mind"]


# ---- what is wrong with a recipe's own


def output_that(body: str, kind: str = "mine") -> str:
    """Return the part with an output whose function has one line."""
    own = f"from plugs import Check, Finding, Output\n\n\ndef _make(work):\n    {body}\n"
    return recipe_with(f'outputs=(Output(kind="{kind}", make=_make),),', own)


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ("raise KeyError('x')", "it raised KeyError: 'x'"),
        ("raise SystemExit(1)", "ended the program"),
        ("return work.no_such_stage", "AttributeError"),
        ("pass", "gives no files by their paths"),
        ("return ['a.txt']", "gives no files by their paths"),
        ("return {'a.txt': 5}", "neither text nor bytes"),
        ("return {'a.txt': '\\udc80'}", "neither text nor bytes"),
        ("return {5: 'a'}", "the path of a file is text"),
        ("return {'': 'a'}", "leads out of the folder"),
        ("return {'../a.txt': 'a'}", "leads out of the folder"),
        ("return {'a/../../b.txt': 'a'}", "leads out of the folder"),
        ("return {'/tmp/a.txt': 'a'}", "leads out of the folder"),
        ("return {'C:a.txt': 'a'}", "leads out of the folder"),
        ("return {'a\\\\b.txt': 'a'}", "leads out of the folder"),
        ("return {'con.txt': 'a'}", "not every system"),
        ("return {'a' * 90: 'a'}", "not every system"),
        ("return {'SUMMARY.json': 'a'}", "another file there"),
        ("return {'book.html': 'a'}", "another file there"),
        ("return {'layers/outlines.csv': 'a'}", "another file there"),
        ("return {'layers': 'a'}", "another file there"),
        ("return {'a': 'a', 'a/b': 'b'}", "another file there"),
    ],
)
def test_an_output_that_fails_is_refused(shop: Path, body: str, words: str) -> None:
    """With the recipe's name."""
    (shop / "part.py").write_text(output_that(body), encoding="utf-8")
    with pytest.raises(PlugError) as error:
        own_files(load("part.py"), 0, ("layers/outlines.csv", "book.html", "summary.json"))
    assert words in error.value.reason
    assert error.value.where.startswith("part.py")


@pytest.mark.parametrize(
    ("body", "words", "kind"),
    [
        ("return {'a.txt': 1 / 0}", "ZeroDivisionError", "stl"),
        ("return {'layers/outlines.csv': 'a'}", "another file there", "csv"),
    ],
)
def test_an_output_that_fails_leaves_no_folder(
    shop: Path, plugs: Plugs, body: str, words: str, kind: str
) -> None:
    """Three lines, no traceback."""
    (shop / "part.py").write_text(output_that(body), encoding="utf-8")
    first, why, _ = three_lines(plugs("build", "part.py", "--only", kind, "--only", "mine"))
    assert words in why
    assert "part.py" in first
    assert [p.name for p in shop.iterdir() if p.is_dir() and p.name != "__pycache__"] == []


@pytest.mark.parametrize(
    ("kind", "remedy"), [("stl", 'kind="own-stl"'), ("Foam List", 'kind="foam-list"'), ("-x", 'kind="x"')]
)
def test_a_kind_that_is_taken_or_no_word_is_refused(shop: Path, kind: str, remedy: str) -> None:
    """Before anything is worked out, with a word that does."""
    (shop / "part.py").write_text(output_that("return {}", kind), encoding="utf-8")
    with pytest.raises(PlugError) as error:
        load("part.py")
    assert error.value.param == "outputs[0].kind"
    assert remedy in error.value.remedy
    (shop / "part.py").write_text(output_that("return {}", remedy[6:-1]), encoding="utf-8")
    assert load("part.py").plug.outputs[0].kind == remedy[6:-1]


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ("raise KeyError('x')", "it raised KeyError: 'x'"),
        ("pass", "no finding"),
        ("return 'all well'", "no finding"),
        ("return [5]", "no finding"),
        ("yield 1 / 0", "ZeroDivisionError"),
        ("return [Finding(code=1, severity='note', where='w', message='m', remedy='r')]", "no finding"),
        ("return [Finding(code='a', severity='note', where='', message='m', remedy='r')]", "says nothing"),
        ("return [Finding(code='a', severity='bad', where='w', message='m', remedy='r')]", "says nothing"),
        ("return [Finding(code='a', severity='note', where='w', message=5, remedy='r')]", "TypeError"),
    ],
)
def test_a_check_that_fails_is_refused(shop: Path, body: str, words: str) -> None:
    """With the recipe's name; nothing found, or findings one by one, is well."""
    own = f"from plugs import Check, Finding, Output\n\n\ndef _find(work):\n    {body}\n"
    text = recipe_with('checks=(Check(stage="body", find=_find),),', own)
    (shop / "part.py").write_text(text, encoding="utf-8")
    with pytest.raises(PlugError) as error:
        own_findings(load("part.py"), 0)
    assert words in error.value.reason
    assert error.value.where.startswith("part.py")
    (shop / "part.py").write_text(text.replace(body, "yield from ()"), encoding="utf-8")
    assert own_findings(load("part.py"), 0) == ()


def test_a_check_that_fails_ends_in_three_lines(shop: Path, plugs: Plugs) -> None:
    """No traceback."""
    own = "from plugs import Check\n\n\ndef _find(work):\n    raise KeyError('x')\n"
    text = recipe_with('checks=(Check(stage="body", find=_find),),', own)
    (shop / "part.py").write_text(text, encoding="utf-8")
    first, why, _ = three_lines(plugs("build", "part.py", "--only", "stl"))
    assert "it raised KeyError: 'x'" in why
    assert "part.py:" in first


def test_a_stage_that_an_own_output_asks_for_tells_its_own_fault(shop: Path, plugs: Plugs) -> None:
    """Once, by its own word, with the recipe's name."""
    (shop / "part.py").write_text(output_that("return {'a.txt': str(work.body)}"), encoding="utf-8")
    words = ("build", "part.py", "--set", "depth=200", "--only", "mine")
    assert three_lines(plugs(*words))[0].count("part.py") == 1


def test_a_plug_in_memory_has_them_too(shop: Path) -> None:
    """The writer and the check of a script."""
    plug = load(shop / "part.py").plug
    output = Output(kind="mine", make=lambda work: {"a.txt": work.plug.name})
    check = Check(stage="body", find=lambda work: None)  # type: ignore[arg-type, return-value]
    work_out(replace(plug, outputs=[output])).write(shop / "out", kinds=("mine",))
    assert (shop / "out" / "a.txt").read_text() == "Part"
    with pytest.raises(PlugError, match="no finding"):
        _ = work_out(replace(plug, checks=[check])).findings
