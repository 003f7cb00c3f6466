"""Records: dataclasses whose methods are not written before they are wanted.

The standard library writes and compiles four to six methods for each dataclass as its module is loaded, which
for some hundreds of records takes longer than loading all the rest. Here methods that need no text of their
own are shared, and ``__init__``, which must be quick, is compiled when the first record of a kind is made.
"""

from __future__ import annotations

import dataclasses
import inspect
from collections.abc import Callable
from operator import attrgetter
from reprlib import recursive_repr
from typing import TYPE_CHECKING, Any, NoReturn

__all__ = ["record"]


def _record(
    *, frozen: bool = False, slots: bool = False, kw_only: bool = False, eq: bool = True
) -> Callable[[type], Any]:
    """Return what makes a record of a class, as ``dataclasses.dataclass`` does with the same words.

    Parameters
    ----------
    frozen : bool
    slots : bool
    kw_only : bool
    eq : bool
        Whether records are equal, and hashed if they are frozen, by their values.

    Returns
    -------
    callable
    """

    def made(plain: type) -> Any:
        own = vars(plain).copy()  # what the class defines itself stays
        below = frozen and any(dataclasses.is_dataclass(base) for base in plain.__bases__)
        kind: Any = dataclasses.dataclass(
            init=False, repr=False, eq=False, frozen=below, slots=slots, kw_only=kw_only
        )(plain)
        methods: dict[str, object] = {"__init__": _first_init(kind, frozen), "__repr__": _shown}
        if eq:
            methods |= _compared(kind, frozen)
        if frozen:
            methods |= {"__setattr__": _kept, "__delattr__": _kept}
            kind.__dataclass_params__.frozen = True  # for classes derived from it
            if slots:
                methods |= _sent(kind)
        for name, method in methods.items():
            if name not in own or (name == "__hash__" and own[name] is None):
                setattr(kind, name, method)
        kind.__signature__ = _Signature(kind)
        return kind

    return made


class _Signature:
    """What a record is made of, for whoever inspects its class."""

    def __init__(self, kind: Any) -> None:
        """Keep the class that it stands for."""
        self.kind = kind

    def __get__(self, _: object, kind: Any) -> inspect.Signature:
        """Return the signature of a class; of one that is derived and made otherwise there is none here."""
        if kind.__init__ is not self.kind.__init__:
            raise AttributeError("__signature__")
        words = [
            inspect.Parameter(
                one.name,
                inspect.Parameter.KEYWORD_ONLY if one.kw_only else inspect.Parameter.POSITIONAL_OR_KEYWORD,
                default=_default_of(one),
                annotation=one.type,
            )
            for one in dataclasses.fields(kind)
            if one.init
        ]
        words.sort(key=lambda word: word.kind)
        return inspect.Signature(words, return_annotation=None)


def _default_of(field: dataclasses.Field[Any]) -> object:
    """Return what a field holds when it is not given, or what makes that; nothing where it must be given."""
    found = field.default if field.default_factory is dataclasses.MISSING else field.default_factory
    return inspect.Parameter.empty if found is dataclasses.MISSING else found


def _first_init(kind: Any, is_frozen: bool) -> Callable[..., None]:
    """Return what makes the first record of a class: it puts the compiled method in its own place."""

    def __init__(self: object, *values: object, **words: object) -> None:  # noqa: N807
        kind.__init__ = _compiled(kind, is_frozen)
        kind.__init__(self, *values, **words)

    return __init__


def _compiled(kind: Any, is_frozen: bool) -> Callable[..., None]:
    """Return the method that makes a record, written out and compiled."""
    known: dict[str, Any] = {"_set": object.__setattr__, "_none": dataclasses.MISSING}
    taken: list[str] = []
    named: list[str] = []
    body: list[str] = []
    for one in dataclasses.fields(kind):
        if not one.init:
            continue
        word, value = one.name, one.name
        if one.default is not dataclasses.MISSING:
            known[f"_of_{one.name}"] = one.default
            word = f"{one.name}=_of_{one.name}"
        elif one.default_factory is not dataclasses.MISSING:
            known[f"_of_{one.name}"] = one.default_factory
            word = f"{one.name}=_none"
            value = f"_of_{one.name}() if {one.name} is _none else {one.name}"
        (named if one.kw_only else taken).append(word)
        body.append(f"_set(self, {one.name!r}, {value})" if is_frozen else f"self.{one.name} = {value}")
    if hasattr(kind, "__post_init__"):
        body.append("self.__post_init__()")
    words = ", ".join(["self", *taken, *(["*", *named] if named else [])])
    exec(f"def __init__({words}):\n " + "\n ".join(body or ["pass"]), known)  # noqa: S102 - from field names alone
    method: Callable[..., None] = known["__init__"]
    method.__qualname__ = f"{kind.__qualname__}.__init__"
    return method


def _compared(kind: Any, is_frozen: bool) -> dict[str, object]:
    """Return the methods of records that are equal by their values."""
    names = [one.name for one in dataclasses.fields(kind) if one.compare]
    values: Callable[[object], object]
    values = attrgetter(*names) if len(names) > 1 else lambda of: tuple(getattr(of, name) for name in names)

    def __eq__(self: object, other: object) -> bool:  # noqa: N807
        if other.__class__ is not self.__class__:
            return NotImplemented
        return values(self) == values(other)

    def __hash__(self: object) -> int:  # noqa: N807
        return hash(values(self))

    return {"__eq__": __eq__, "__hash__": __hash__ if is_frozen else None}


@recursive_repr()
def _shown(self: Any) -> str:
    """Return a record as it would be written."""
    words = [f"{one.name}={getattr(self, one.name)!r}" for one in dataclasses.fields(self) if one.repr]
    return f"{type(self).__qualname__}({', '.join(words)})"


def _kept(_: object, name: str, *value: object) -> NoReturn:
    """Refuse to change a frozen record."""
    raise dataclasses.FrozenInstanceError(f"cannot {'assign to' if value else 'delete'} field {name!r}")


def _sent(kind: Any) -> dict[str, object]:
    """Return the methods by which a frozen record is sent elsewhere, and filled there."""
    names = [one.name for one in dataclasses.fields(kind)]
    setters = [getattr(kind, name).__set__ for name in names]

    def __getstate__(self: object) -> list[object]:  # noqa: N807
        return [getattr(self, name) for name in names]

    def __setstate__(self: object, state: list[object]) -> None:  # noqa: N807
        for put, value in zip(setters, state, strict=True):
            put(self, value)

    return {"__getstate__": __getstate__, "__setstate__": __setstate__}


if TYPE_CHECKING:
    from dataclasses import dataclass as record
else:
    record = _record
