"""Records behave as dataclasses of the standard library do, which is the reference here."""

from __future__ import annotations

import copy
import dataclasses
import inspect
import pickle
import sys
from collections.abc import Callable
from itertools import product
from typing import Any

import pytest

import plugs
from plugs.ground import records

Words = dict[str, bool]

CHOICES: list[Words] = [
    dict(zip(("frozen", "slots", "kw_only", "eq"), one, strict=True))
    for one in product((True, False), repeat=4)
]


def kinds(made: Callable[[type], Any], words: Words) -> tuple[Any, ...]:
    """Return some classes, made records by either."""

    @made
    class Point:
        """A value that must be given, one that may, one that is made, and one that follows."""

        __qualname__ = "Point"

        x: float
        name: str = dataclasses.field(default="", compare=False)
        seen: list[int] = dataclasses.field(default_factory=list, repr=False)
        twice: float = dataclasses.field(init=False)

        def __post_init__(self) -> None:
            """Refuse what is no number, and double it."""
            object.__setattr__(self, "twice", 2.0 * self.x)

    @made
    class Named(Point):
        """Derived."""

        __qualname__ = "Named"

        label: str = "none"

        def __repr__(self) -> str:
            return self.label

    @made
    class One:  # noqa: PLW1641 - what its hash is then, is asked
        """A single value, compared in a way of its own."""

        __qualname__ = "One"

        x: float

        def __eq__(self, other: object) -> bool:
            return isinstance(other, One) and abs(self.x - other.x) < 1.0

    @made
    class Nothing:
        """No value."""

        __qualname__ = "Nothing"

    @made
    class Single:
        """A single value."""

        __qualname__ = "Single"

        x: object

    found = (Point, Named, One, Nothing, Single)
    for kind in found:
        setattr(sys.modules[__name__], kind.__name__, kind)  # where pickle looks
    return found


def outcome(make: Callable[[], object]) -> object:
    """Return what something gives, or how it fails."""
    try:
        return make()
    except (TypeError, ValueError, AttributeError, KeyError) as error:
        return type(error), str(error)


def behaviour(found: tuple[Any, ...], words: Words) -> list[object]:
    """Return all that a person sees of some records, as text and plain values."""
    point, named, one, nothing, single = found
    nan = float("nan")
    first = point(x=1.0, name="a")
    other = named(x=1.0, label="b")

    def change() -> None:
        first.x = 3.0

    def drop() -> None:
        del first.twice

    made = [
        lambda: (first.x, first.name, first.seen, first.twice, repr(first), repr(other), repr(nothing())),
        lambda: first.seen is not point(x=2.0).seen,
        lambda: (first == point(x=1.0, name="c"), first == point(x=2.0), first == other, first == 1.0),
        lambda: (one(x=1.0) == one(x=1.5), single(x=nan) == single(x=nan), nothing() == nothing()),
        lambda: (hash(first) == hash(point(x=1.0, name="d")), hash(one(x=0.0)) == hash(one(x=0.0))),
        lambda: isinstance(hash(single(x=[])), int),
        lambda: [(f.name, f.type, f.init, f.repr, f.compare, f.kw_only) for f in dataclasses.fields(named)],
        lambda: [inspect.signature(kind) for kind in found],
        lambda: dataclasses.replace(other, x=7.0).twice,
        lambda: dataclasses.asdict(first),
        lambda: [
            getattr(pickle.loads(pickle.dumps(other)), word) for word in ("x", "seen", "twice", "label")
        ],
        lambda: (copy.copy(first).x, copy.deepcopy(first).seen, dataclasses.is_dataclass(point)),
        lambda: (point.__match_args__, point.__name__, point.__doc__, point.__init__.__qualname__),
        lambda: point(1.0, "by place"),
        point,
        lambda: point(x=1.0, y=2.0),
        lambda: nothing(1),
        lambda: point(x="text").twice,
        change,
        drop,
        lambda: (first.x, "__dict__" in dir(first)),
    ]
    return [outcome(make) for make in made]


@pytest.mark.parametrize(
    "words", CHOICES, ids=lambda words: " ".join(w for w, is_so in words.items() if is_so)
)
def test_a_record_is_a_dataclass(words: Words) -> None:
    """Made, told, compared, hashed, copied, sent, refused alike, whatever words it has."""
    ours = behaviour(kinds(records._record(**words), words), words)
    theirs = behaviour(kinds(dataclasses.dataclass(**words), words), words)
    assert [str(one).replace("<factory>", repr(list)) for one in theirs] == [str(one) for one in ours]


def test_a_class_derived_from_a_record_is_what_it_makes_of_itself() -> None:
    """A frozen dataclass of the recipe's own; a class with an ``__init__`` of its own."""

    @records.record(frozen=True, slots=True, kw_only=True)
    class First:
        """A record."""

        x: float

    @dataclasses.dataclass(frozen=True, kw_only=True)
    class Second(First):
        """One by the standard library."""

        y: float

    class Third(First):
        """One that makes itself."""

        def __init__(self, z: float) -> None:
            super().__init__(x=z)

    assert Second(x=1.0, y=2.0) == Second(x=1.0, y=2.0) and Third(4.0).x == 4.0
    assert [*inspect.signature(Second).parameters] == ["x", "y"]
    assert [*inspect.signature(Third).parameters] == ["z"]


def test_nothing_is_compiled_before_a_record_is_made(monkeypatch: pytest.MonkeyPatch) -> None:
    """And once then."""
    compiled = []
    compile_one = records._compiled

    def counted(kind: Any, is_frozen: bool) -> Callable[..., None]:
        compiled.append(kind.__name__)
        return compile_one(kind, is_frozen)

    monkeypatch.setattr(records, "_compiled", counted)

    @records.record(frozen=True, slots=True, kw_only=True)
    class Fresh:
        """A record."""

        x: float

    assert [*inspect.signature(Fresh).parameters] == ["x"] and not compiled
    assert [Fresh(x=float(i)).x for i in range(3)] == [0.0, 1.0, 2.0]
    assert compiled == ["Fresh"]


def test_what_a_plug_takes_is_shown_to_whoever_asks() -> None:
    """A notebook completes the words of a recipe by the signature."""
    assert [*inspect.signature(plugs.Plug).parameters] == [one.name for one in dataclasses.fields(plugs.Plug)]
