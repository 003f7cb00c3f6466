"""The starter recipe: Python for every name that it accepts."""

from __future__ import annotations

import ast

import pytest

from plugs.ground.errors import PlugError
from plugs.recipe.starter import starter_recipe


@pytest.mark.parametrize(
    ("name", "function", "title"),
    [
        ("my_hump", "my_hump", "My hump"),
        ("My Hump", "my_hump", "My Hump"),
        ("tail-piece", "tail_piece", "Tail-piece"),
        ("hump2", "hump2", "Hump2"),
        ('bob\'s "big" hump', "bob_s_big_hump", 'Bob\'s "big" hump'),
        ("'''", None, None),
        ('a"""b', "a_b", 'A"""b'),
        ("höcker", "höcker", "Höcker"),
        ("_x_", "x", "X"),
        ("match", "match", "Match"),
        ("@FUNCTION@", "function", "@FUNCTION@"),
    ],
)
def test_starter_recipe(name: str, function: str | None, title: str | None) -> None:
    """The starter is Python for every name: one function named after it, with all defaults."""
    if function is None:
        with pytest.raises(PlugError):
            starter_recipe(name)
        return
    tree = ast.parse(starter_recipe(name))
    compile(tree, "starter.py", "exec")
    functions = [node for node in tree.body if isinstance(node, ast.FunctionDef)]
    assert [node.name for node in functions] == [function]
    arguments = functions[0].args
    assert len(arguments.defaults) == len(arguments.args) == 4
    titles = [
        keyword.value.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        for keyword in node.keywords
        if keyword.arg == "name" and isinstance(keyword.value, ast.Constant)
    ]
    assert titles == [title]


def test_starter_recipe_is_text_of_short_lines() -> None:
    """The starter ends in a newline, has short lines, and leaves nothing to fill in."""
    text = starter_recipe("hump")
    assert text.endswith(")\n")
    assert max(len(line) for line in text.splitlines()) <= 100
    assert "@" not in text


@pytest.mark.parametrize(
    ("name", "reason", "nearest"),
    [
        ("2nd hump", "begin", "plug_2nd_hump"),
        ("class", "Python keeps", "class_plug"),
        ("Class", "Python keeps", "class_plug"),
        ("", "no letter", "my_plug"),
        ("!!!", "no letter", "my_plug"),
        ("___", "no letter", "my_plug"),
        ("h" * 61, "longer than 60", "h" * 60),
        ("recipes/hump", "folder", "hump"),
        ("recipes\\2nd/", "folder", "plug_2nd"),
    ],
)
def test_starter_recipe_refuses(name: str, reason: str, nearest: str) -> None:
    """A name that no function can have is refused with the nearest that would do, which then does."""
    with pytest.raises(PlugError) as caught:
        starter_recipe(name)
    error = caught.value
    assert (error.param, error.value) == ("name", name)
    assert reason in error.reason
    assert error.remedy == f"write {nearest}"
    assert f"def {nearest}(" in starter_recipe(nearest)


@pytest.mark.parametrize("name", ["plugs", "CON", "nul", "com1", "Lpt9"])
def test_names_that_stand_in_the_way_are_refused(name: str) -> None:
    """A file plugs.py would be run in place of the program; devices' names cannot be files everywhere."""
    with pytest.raises(PlugError) as caught:
        starter_recipe(name)
    assert starter_recipe(caught.value.remedy.removeprefix("write "))


def test_names_with_a_line_end_are_refused() -> None:
    """What cannot be seen in a name makes no file that people can type."""
    with pytest.raises(PlugError) as caught:
        starter_recipe("back\nslash")
    assert starter_recipe(caught.value.remedy.removeprefix("write "))
