"""What programs of ours are read by, against the report that they follow and a parser of somebody else.

NIST IR 6556 (T. Kramer, F. Proctor, E. Messina, *The NIST RS274NGC Interpreter, version 3*, 17 August 2000),
read in a public copy of the report itself (confirmed); sections beside each example, and quotes are its
own. Words of each line of whole programs for three and for four axes: gcodeparser
(MIT), which knows neither comments in parentheses nor what a word means.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from contextlib import nullcontext

import gcodeparser
import numpy as np
import pytest

from plugs.wire.program import program_of
from plugs.wire.reading import ProgramFaultError, run
from tests.reference.rs274 import strict, words_of
from tests.reference.test_router import routed
from tests.wire import MACHINE, dialect, planned_box

FOUR = dialect(MACHINE)


def ends(*lines: str) -> list[float]:
    """Return where our interpreter stands at the end of a program."""
    return run("\n".join((*lines, "M2")) + "\n", FOUR).ends[-1].tolist()


def test_spaces_and_capitals_mean_nothing() -> None:
    """3.3: "g0x +0. 12 34y 7" is "g0 x+0.1234 y7"."""
    assert (
        words_of("g0x +0. 12 34y 7") == words_of("G0 X0.1234 Y7") == {"G": [0.0], "X": [0.1234], "Y": [7.0]}
    )
    assert ends("G21", "g0x +0. 12 34y 7") == pytest.approx([0.1234, 7.0, 0.0, 0.0])


@pytest.mark.parametrize(
    "line",
    ["N000009 G0 X1", "N-1 G0 X1", "G0 N9 X1", "G0 X1 (one (two))", "G0 X1 (open", "G0 G1 X1", "G20 G21",
     "G90 G91", "G0 X1 X2", "G1 X1 F1 F2", "X", "G0 X1e2", "G0 X1.2.3", "M3 M5", "G0 E1"],
)  # fmt: skip
def test_what_the_report_calls_an_error_is_one(line: str) -> None:
    """3.3.1, 3.3.4, 3.3.5, 3.3.2.1, table 3: neither this reader nor our interpreter goes on."""
    with pytest.raises(AssertionError):
        words_of(line)
    with pytest.raises(ProgramFaultError):
        run(f"G21 G90 G94 G0 X0\n{line}\nM2\n", FOUR)


@pytest.mark.parametrize(
    "line", ["N9 G0 X1", "/ N12345 G0 X1", "(a) G0 (b) X1 (c)", "%", "", "G0 X+1.", "G0 X.5"]
)
def test_what_the_report_allows_is_read(line: str) -> None:
    """3.1, 3.3, 3.3.1, 3.3.2.1; our interpreter refuses what a switch on the machine would delete or not."""
    read = strict(f"G21 G90\n{line}\nM2\n" if line != "%" else "%\nG21 G90\n%\n")
    assert len(read) in (1, 3)
    with pytest.raises(ProgramFaultError) if line.startswith("/") else nullcontext():
        run(f"G21 G90 G94\n{line}\nM2\n", FOUR)


def test_inverse_time_is_one_divided_by_f() -> None:
    """3.5.19: "if the F number is 2.0, the move should be completed in half a minute"; F to every G1."""
    assert run("G21 G90 G93\nG1 X70 F2.0\nG0 X0\nM2\n", FOUR).seconds.tolist() == [30.0, 0.0]
    for text in ("G21 G90 G93\nG1 X1 F2\nX2\nM2\n", "G21 G90 G93\nG0 X0 F2\nG1 X2\nM2\n"):
        with pytest.raises(ProgramFaultError):
            run(text, FOUR)
        with pytest.raises(AssertionError):
            strict(text)


def test_a_line_is_done_in_the_order_of_the_report() -> None:
    """3.8, table 8: feed mode, units, distance mode, motion, then the stop, in whatever order they stand."""
    assert ends("X1 G20 G0") == pytest.approx([25.4, 0.0, 0.0, 0.0])
    assert ends("G21 G90", "G0 X5", "X1 G91") == pytest.approx([6.0, 0.0, 0.0, 0.0])
    done = run("G21 G90\nF3 G1 X9 G93 M30\nG1 X99 F1\n", FOUR)
    assert (done.ends[-1, 0], done.seconds.sum()) == (9.0, 20.0)


@pytest.mark.parametrize(
    ("text", "axes"),
    [(lambda: program_of(planned_box(MACHINE), MACHINE, "Box"), "XYUV"), (lambda: routed().text, "XYZ")],
    ids=("four axes", "three axes"),
)
def test_a_parser_of_somebody_else_reads_the_same(text: Callable[[], str], axes: str) -> None:
    """Letter by letter and number by number, and so the same places: comments are taken out for it."""
    lines = [re.sub(r"\([^()]*\)", "", line) for line in text().splitlines()]
    told = [one for one in strict("\n".join(lines) + "\n", axes) if one]
    seen: dict[int, dict[str, list[float]]] = {}
    for one in gcodeparser.parse_gcode_lines("\n".join(lines)):
        words = seen.setdefault(one.line_index, {})
        words.setdefault(one.command[0], []).append(float(one.command[1] or 0))
        for letter, value in one.params.items():
            words[letter] = [float(value)]
    assert list(seen.values()) == told
    places = np.array([[one[a][0] for a in axes] for one in told if set(axes) <= set(one)])
    assert len(places) > 5
