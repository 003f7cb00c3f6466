"""A fault is told by the parameter that was set, not by a corner that the recipe makes of it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from plugs.ground.errors import PlugError
from plugs.work import load
from tests.cli.conftest import Plugs, three_lines


def refused(**words: float) -> PlugError:
    """Return the error of the part with parameters set, as its stages are asked for."""
    with pytest.raises(PlugError) as caught:
        load("part.py", **words).found(["body"])
    return caught.value


@pytest.mark.usefixtures("shop")
def test_fault_of_one_parameter_is_told_by_it_with_what_does() -> None:
    """The value that is told builds, also where the first fault needs less than the next.

    By hand: 0.9 width / 2 is the chine's y, and that less 20 the edge's: 2.25 would do, and then 17.75.
    """
    error = refused(depth=400.0)
    assert (error.param, error.value, error.would_do) == ("depth", 400.0, (("depth", 123.9),))
    assert error.reason.startswith("it goes to recesses[0].depth: ")
    assert error.remedy == "use 123.9; the recipe's own depth is 8"
    load("part.py", depth=123.9).found(["body"])
    text = Path("part.py").read_text(encoding="utf-8")
    Path("part.py").write_text(re.sub(r" +recesses=.*\n", "", text), encoding="utf-8")
    for width, makes in ((-5.0, "['chine'].y = -2.25: "), (0.0, "['edge'].y = -20: ")):
        error = refused(width=width, radius=2.0)
        assert (error.param, error.value) == ("width", width)
        assert error.reason.startswith(f"it makes stations[0].corners{makes}")
        ((name, does),) = error.would_do
        assert (name, error.remedy) == ("width", f"use {does:.6g}; the recipe's own width is 300")
        load("part.py", width=does, radius=2.0).found(["body"])


@pytest.mark.usefixtures("shop")
def test_what_no_number_mends_is_told_with_the_recipes_own() -> None:
    """Stations out of order, and corners the wrong way round."""
    for name, value, own in (("length", 100.0, "400"), ("height", -20.0, "120")):
        error = refused(**{name: value})
        assert (error.param, error.would_do) == (name, ())
        assert f"the recipe's own {name} is {own}" in error.remedy


@pytest.mark.usefixtures("shop")
def test_whose_value_it_is_must_be_known() -> None:
    """Without a parameter that was set, and where two that were set make it together, the place is told."""
    text = Path("part.py").read_text(encoding="utf-8")
    Path("part.py").write_text(text.replace("width=300.0", "width=-5.0"), encoding="utf-8")
    assert refused().param == "stations[0].corners['chine'].y"
    Path("part.py").write_text(
        text.replace("share * width / 2", "share * width * crown / 10"), encoding="utf-8"
    )
    assert refused(width=200.0, crown=-1.0).param == "stations[0].corners['chine'].y"
    assert refused(width=-5.0, length=410.0).param == "width"


@pytest.mark.usefixtures("shop")
def test_three_lines_as_any_other(plugs: Plugs) -> None:
    """On the command line."""
    which, why, do = three_lines(plugs("check", "part.py", "--set", "width=-5"))
    assert which == "width = -5 (part.py)"
    assert why.startswith("why: it makes stations[0].corners['chine'].y = -2.25")
    assert do.startswith("do: the recipe's own width is 300; at that place itself: use 2.25")
