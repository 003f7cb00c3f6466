"""Recipes: finding the file, its function and its parameters, and running it."""

from __future__ import annotations

import math
import sys
from pathlib import Path

import pytest

from plugs.ground.errors import PlugError
from plugs.recipe.reading import Recipe, load_recipe, run_recipe, split_assignment

GOOD = '''\
"""A file about humps."""

from dataclasses import dataclass
from math import hypot


@dataclass
class Rim:
    width: float


def _half(width):
    return width / 2


def hump(length=400.0, layers=3, faired=False, resin="epoxy", sheets=(50.0, 30.0), edge=None):
    """An invented hump."""
    return {"length": length, "half": _half(length), "layers": layers, "faired": faired,
            "resin": resin, "sheets": sheets, "edge": edge}
'''


def write(folder: Path, text: str | bytes, name: str = "hump.py") -> Path:
    """Write a recipe file."""
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def load(folder: Path, text: str | bytes, name: str = "hump.py") -> Recipe:
    """Write a recipe and load it."""
    return load_recipe(write(folder, text, name))


def load_fault(folder: Path, text: str | bytes, name: str = "hump.py") -> PlugError:
    """Write a faulty recipe and return the error of loading it."""
    with pytest.raises(PlugError) as caught:
        load(folder, text, name)
    assert len(str(caught.value).split("\n")) == 3
    return caught.value


def run_fault(folder: Path, body: str, head: str = "") -> PlugError:
    """Return the error of running a recipe whose function has this body, on line 2 of the file."""
    recipe = load(folder, f"def hump(length=400.0):\n    {body}\n{head}")
    with pytest.raises(PlugError) as caught:
        run_recipe(recipe, {})
    assert len(str(caught.value).split("\n")) == 3
    return caught.value


def test_load(tmp_path: Path) -> None:
    """A recipe is its file, its name and its one function with all defaults."""
    before = list(sys.path)
    path = write(tmp_path, GOOD)
    recipe = load_recipe(path)
    assert recipe.path == path
    assert recipe.name == "hump"
    assert recipe.function.__name__ == "hump"
    assert dict(recipe.parameters) == {
        "length": 400.0, "layers": 3, "faired": False, "resin": "epoxy", "sheets": (50.0, 30.0), "edge": None,
    }  # fmt: skip
    assert sys.path == before
    assert [file.name for file in tmp_path.iterdir()] == ["hump.py"]


def test_load_again_after_a_change(tmp_path: Path) -> None:
    """The file is read anew each time, as rebuilding on save needs."""
    assert load(tmp_path, "def hump(length=1.0): pass").parameters["length"] == 1.0
    assert load(tmp_path, "def hump(length=2.0): pass").parameters["length"] == 2.0


def test_the_name_of_a_library_is_no_trouble(tmp_path: Path) -> None:
    """A recipe called like a module of Python neither replaces it nor is replaced by it."""
    recipe = load(tmp_path, "import json\ndef statistics(length=1.0): return json.dumps(length)", "json.py")
    assert run_recipe(recipe, {}).result == "1.0"
    assert "dumps" in vars(sys.modules["json"])


def test_postponed_annotations_in_records(tmp_path: Path) -> None:
    """A record with postponed annotations needs its module to be known by name while it is made."""
    text = (
        "from __future__ import annotations\nfrom dataclasses import dataclass\nfrom typing import ClassVar\n"
        "@dataclass\nclass Rim:\n    width: float\n    kind: ClassVar[str] = 'rim'\n"
        "def hump(length=1.0): return Rim(length)"
    )
    assert run_recipe(load(tmp_path, text), {}).result.width == 1.0  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("text", "name", "function"),
    [
        ("def other(): pass\ndef hump(): pass", "hump.py", "hump"),
        ("def other(): pass\ndef my_hump(): pass", "my-hump.py", "my_hump"),
        ("def other(): pass\nalias = other", "hump.py", "other"),
        ("from os.path import join\ndef other(): pass\nclass Part: pass", "hump.py", "other"),
        ("\ufeffdef other(): pass", "hump.py", "other"),
        (("import functools\ndef _mark(f):\n    @functools.wraps(f)\n    def g(*a, **k): return f(*a, **k)\n"
         "    return g\n@_mark\ndef other(length=1.0): pass"), "hump.py", "other"),
    ],
)  # fmt: skip
def test_the_function(tmp_path: Path, text: str, name: str, function: str) -> None:
    """The only public function is taken, or among several the one named like the file."""
    assert load(tmp_path, text, name).function.__name__ == function


def test_a_table_beside_the_recipe(tmp_path: Path) -> None:
    """A recipe finds files that lie beside it through __file__."""
    (tmp_path / "offsets.csv").write_text("17")
    text = (
        "from pathlib import Path\ndef hump():"
        "\n    return Path(__file__).with_name('offsets.csv').read_text()"
    )
    assert run_recipe(load(tmp_path, text), {}).result == "17"


def test_missing_file(tmp_path: Path) -> None:
    """A missing recipe is told with the closest names in its folder."""
    for name in ("cab_fairing.py", "hump.py", "tail.py", "_common.py"):
        write(tmp_path, "", name)
    with pytest.raises(PlugError) as caught:
        load_recipe(tmp_path / "cab_faring.py")
    error = caught.value
    assert (error.param, error.value) == ("recipe", str(tmp_path / "cab_faring.py"))
    assert "no such file" in error.reason
    assert f"closest in {tmp_path}: cab_fairing.py" in error.remedy
    assert "_common" not in error.remedy


def test_missing_folder_and_empty_folder(tmp_path: Path) -> None:
    """Where the folder is missing or holds no recipe, that is said."""
    with pytest.raises(PlugError, match=r"there is no .*nowhere either"):
        load_recipe(tmp_path / "nowhere" / "hump.py")
    with pytest.raises(PlugError, match=r"there is no \.py file in"):
        load_recipe(tmp_path / "hump.py")


def test_folder(tmp_path: Path) -> None:
    """A folder is no recipe; the recipes in it are named."""
    write(tmp_path, "")
    with pytest.raises(PlugError, match="folder") as caught:
        load_recipe(tmp_path)
    assert "hump.py" in caught.value.remedy


@pytest.mark.parametrize("name", ["n" * 5000 + ".py", "nul\0.py"])
def test_impossible_paths(tmp_path: Path, name: str) -> None:
    """A path that no file can have is a fault of the input like any other."""
    with pytest.raises(PlugError) as caught:
        load_recipe(tmp_path / name)
    assert caught.value.param == "recipe"


@pytest.mark.parametrize(
    ("text", "name", "where", "value", "reason", "remedy"),
    [
        ("", "hump.txt", "", "hump.txt", ".py", "hump.py"),
        (b"# L\xfcfter\ndef hump(): pass", "hump.py", ":1", "hump.py", "line 1 holds the byte 0xfc",
         "line 1"),
        (b"\n\n\xff", "hump.py", ":3", "hump.py", "0xff", "UTF-8"),
        ("\ndef hump():\n    return '\0'", "hump.py", ":3", "hump.py", "null bytes", "UTF-8"),
        ("x = 1\ndef hump(length=400.0:\n    pass", "hump.py", ":2", "def hump(length=400.0:",
         "not Python", "line 2"),
        ("def hump():\nreturn 1", "hump.py", ":2", "return 1", "not Python", "line 2"),
        ("(" * 500, "hump.py", ":1", "(((", "not Python", "line 1"),
        ("import no_such_library\n", "hump.py", ":1", "no_such_library", "no such module",
         "pip install no_such_library"),
        ("from no_such.part import x\n", "hump.py", ":1", "no_such", "no such module",
         "pip install no_such,"),
        ("from plugs.nowhere import x\n", "hump.py", ":1", "plugs.nowhere", "no such module",
         "from plugs import"),
        ("import common_words_beside\n", "hump.py", ":1", "common_words_beside", "no such module", "copy"),
        ("import importlib\nimportlib.import_module('a/b')\n", "hump.py", ":2", "a/b", "no such module",
         "a/b"),
        ("from math import sinus\n", "hump.py", ":1", "from math import sinus",
         "ImportError: cannot import name 'sinus'", "line 1"),
        ("a = 0\n\nb = 1 / a\n", "hump.py", ":3", "b = 1 / a", "ZeroDivisionError: division by zero",
         "line 3"),
        ("def _f():\n    raise KeyError('rim')\n_f()\n", "hump.py", ":2", "raise KeyError('rim')",
         "KeyError: 'rim'", "line 2"),
        ("import sys\nsys.exit(3)\n", "hump.py", ":2", "sys.exit(3)", "exit status 3", "line 2"),
        ("def _f(): _f()\n_f()\n", "hump.py", ":1", "def _f(): _f()", "without end", "line 1"),
        ("import json\njson.loads('{')\n", "hump.py", ":2", "json.loads('{')", "in decoder.py", "line 2"),
        ("class E(Exception):\n    def __str__(self): return 1/0\nraise E\n", "hump.py", ":3", "raise E",
         "exception str() failed", "line 3"),
        ("e = ValueError('too\\nlong')\ne.add_note('a note')\nraise e\n", "hump.py", ":3", "raise e",
         "ValueError: too long", "line 3"),
        ("assert 1 == 2, 'sums'\n", "hump.py", ":1", "assert 1 == 2, 'sums'", "AssertionError: sums",
         "line 1"),
        ("", "hump.py", "", "hump.py", "no public function", "def hump("),
        ("", "2nd hump.py", "", "2nd hump.py", "no public function", "def plug_2nd_hump("),
        ("def _hump(): pass", "hump.py", "", "hump.py", "no public function", "rename _hump to hump"),
        ("class Hump: pass\nfrom math import hypot", "hump.py", "", "hump.py", "no public function",
         "def hump("),
        ("def a(): pass\ndef b(): pass", "hump.py", "", "hump.py", "2 public functions (a, b)", "to hump"),
    ],
)  # fmt: skip
def test_faulty_files(
    tmp_path: Path, text: str | bytes, name: str, where: str, value: str, reason: str, remedy: str
) -> None:
    """Every fault of a file names the file and the line, the text there, why, and what to do."""
    (tmp_path / "common_words_beside.py").touch()
    error = load_fault(tmp_path, text, name)
    assert error.param == "recipe"
    assert value in str(error.value)
    assert error.where == (f"{tmp_path / name}{where}" if where else "")
    assert reason in error.reason
    assert remedy in error.remedy


@pytest.mark.parametrize(
    ("signature", "param", "remedy"),
    [
        ("length", "length", "length=400.0"),
        ("width=1.0, *, length", "length", "length=400.0"),
        ("*lengths", "lengths", "*lengths"),
        ("width=1.0, **others", "others", "**others"),
        ("length=1.0, /", "length", "slash"),
    ],
)
def test_parameters_that_cannot_be_set(tmp_path: Path, signature: str, param: str, remedy: str) -> None:
    """Every parameter must have a name and a default."""
    error = load_fault(tmp_path, f"\n\ndef hump({signature}):\n    pass\n")
    assert error.param == param
    assert str(error.value).startswith("hump(")
    assert remedy in error.remedy
    assert error.where == f"{tmp_path / 'hump.py'}:3"


def test_run(tmp_path: Path) -> None:
    """Texts are read as the kind of their defaults; the rest stays; values pass as they are."""
    recipe = load(tmp_path, GOOD)
    made = run_recipe(
        recipe, {"length": "20 in", "layers": "4", "faired": "yes", "sheets": "40 25", "edge": 12.5}
    )
    assert dict(made.parameters) == {
        "length": 508.0, "layers": 4, "faired": True, "resin": "epoxy", "sheets": (40.0, 25.0), "edge": 12.5,
    }  # fmt: skip
    assert made.result == {**made.parameters, "half": 254.0}
    assert list(made.parameters) == list(recipe.parameters)
    assert recipe.parameters["length"] == 400.0


@pytest.mark.parametrize(
    ("overrides", "param", "value", "reason", "remedy"),
    [
        ({"lenght": "450"}, "lenght", "450", "no parameter 'lenght'", "use one of: length, "),
        ({"Sheet": "1"}, "Sheet", "1", "no parameter", "use one of: sheets, "),
        ({"length": "12,5"}, "length", "12,5", "comma", "12.5"),
        ({"length": "nan"}, "length", "nan", "finite", "450"),
        ({"layers": "3.7"}, "layers", "3.7", "whole", "4"),
        ({"faired": "perhaps"}, "faired", "perhaps", "yes or no", "yes"),
        ({"sheets": "50, inf"}, "sheets[1]", "inf", "finite", "450"),
        ({"edge": "nan"}, "edge", "nan", "finite", "450"),
        ({"length": math.inf}, "length", math.inf, "finite", "400"),
        ({"sheets": (1.0, -math.inf)}, "sheets", (1.0, -math.inf), "finite", "(50.0, 30.0)"),
    ],
)
def test_overrides_refused(
    tmp_path: Path, overrides: dict[str, object], param: str, value: object, reason: str, remedy: str
) -> None:
    """A parameter that is unknown, or a value that is none, is told before the recipe runs."""
    with pytest.raises(PlugError) as caught:
        run_recipe(load(tmp_path, GOOD), overrides)
    error = caught.value
    assert (error.param, error.value, error.where) == (param, value, "--set")
    assert reason in error.reason
    assert remedy in error.remedy


def test_override_of_a_recipe_without_parameters(tmp_path: Path) -> None:
    """Where nothing can be set, the remedy says how it could."""
    with pytest.raises(PlugError, match="parameters with defaults"):
        run_recipe(load(tmp_path, "def hump(): pass"), {"length": "1"})


@pytest.mark.parametrize(
    ("body", "value", "reason"),
    [
        ("return 1 / 0", "return 1 / 0", "ZeroDivisionError: division by zero"),
        ("return lenght", "return lenght", "NameError: name 'lenght' is not defined"),
        ("raise SystemExit('stop')", "raise SystemExit('stop')", "exit status stop"),
        ("return hump(length + 1)", "return hump(length + 1)", "without end"),
        ("from plugs import inch; return inch('3')", "from plugs import inch; return inch('3')", "TypeError"),
    ],
)  # fmt: skip
def test_a_recipe_that_raises(tmp_path: Path, body: str, value: str, reason: str) -> None:
    """Whatever a recipe raises becomes one error with its line and its own words."""
    error = run_fault(tmp_path, body)
    assert (error.param, error.value, error.where) == ("recipe", value, f"{tmp_path / 'hump.py'}:2")
    assert reason in error.reason
    assert "line 2" in error.remedy


def test_an_error_with_a_remedy_passes_through(tmp_path: Path) -> None:
    """A complete error keeps its fields and gains the recipe's line in front of its place."""
    error = run_fault(
        tmp_path, "from plugs.ground.units import parse_length; return parse_length('12,5', param='rim')"
    )
    assert (error.param, error.value, error.where) == ("rim", "12,5", f"{tmp_path / 'hump.py'}:2")
    assert error.remedy == "write 12.5"
    body = (
        "from plugs.ground.errors import PlugError; "
        "raise PlugError(param='a', value=1, reason='b', remedy='c', where='d')"
    )
    assert run_fault(tmp_path, body).where == f"{tmp_path / 'hump.py'}:2, d"


def test_the_innermost_line_of_the_recipe_is_named(tmp_path: Path) -> None:
    """Where functions of the recipe call each other, the line that failed is named, not the first."""
    error = run_fault(tmp_path, "return _half('x')", "def _half(width):\n    return width / 2\n")
    assert (error.value, error.where) == ("return width / 2", f"{tmp_path / 'hump.py'}:4")


def test_a_broken_promise_of_the_program_is_no_fault_of_the_recipe(tmp_path: Path) -> None:
    """An assertion inside the program itself is not blamed on the recipe."""
    text = "from plugs.ground import units\ndef hump(): return units.format_length(float('nan'), 'mm')"
    with pytest.raises(AssertionError):
        run_recipe(load(tmp_path, text), {})


def test_an_interrupt_stays_one(tmp_path: Path) -> None:
    """Stopping the program by hand is not a fault of the recipe."""
    with pytest.raises(KeyboardInterrupt):
        run_recipe(load(tmp_path, "def hump(): raise KeyboardInterrupt"), {})


@pytest.mark.parametrize(
    ("text", "pair"),
    [
        ("length=450", ("length", "450")),
        (" length = 3/4 in ", ("length", "3/4 in")),
        ("title=a=b", ("title", "a=b")),
        ("title=", ("title", "")),
    ],
)
def test_split_assignment(text: str, pair: tuple[str, str]) -> None:
    """The first equals sign parts the name from the value."""
    assert split_assignment(text) == pair


@pytest.mark.parametrize(
    ("text", "remedy"),
    [("length", "length=450"), ("", "length=450"), ("=30", "length=30"), ("length 450", "length 450=450")],
)
def test_split_assignment_refuses(text: str, remedy: str) -> None:
    """Without a name and an equals sign there is no assignment."""
    with pytest.raises(PlugError) as caught:
        split_assignment(text)
    assert (caught.value.param, caught.value.value) == ("--set", text)
    assert caught.value.remedy.endswith(remedy)
