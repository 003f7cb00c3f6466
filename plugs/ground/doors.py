"""Two doors of the house: what a build writes, and what it looks for. The house's own go through them too."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Annotated, Any

from plugs.ground.errors import Finding
from plugs.ground.limits import Name, OneOf
from plugs.ground.records import record

Work = Any
"""A `plugs.work.Work`, which is far above this room."""

STAGES = (
    "lines", "body", "finish", "layers", "pieces", "pins", "sheets", "templates", "sanding", "cloth", "resin",
    "part", "shopping", "wire", "mould",
)  # fmt: skip
"""Stages that a check can look at."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Output:
    """A kind of file that a build writes.

    Attributes
    ----------
    kind : str
        By which it is asked for: ``--only cut-list``; small letters, figures and hyphens.
    make : callable
        Gives the files of a `plugs.work.Work`: what each holds, text or bytes, by its path in the folder.
    shows : sequence of str
        Stages of the work that its files show: the summary and the findings speak of these.
    """

    kind: Name
    make: Callable[[Work], Mapping[str, bytes | str]]
    shows: Sequence[Annotated[str, OneOf(STAGES)]] = ("lines", "body")


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Check:
    """Something that is looked for in every build.

    Attributes
    ----------
    stage : str
        Of the work, such as "layers": what it looks at, and the section of the book that it stands in.
    find : callable
        Gives the findings on a `plugs.work.Work`; none where all is well.
    """

    stage: Annotated[str, OneOf(STAGES)]
    find: Callable[[Work], Sequence[Finding]]
