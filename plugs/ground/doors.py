"""Doors of the house: what a build writes, what it looks for, and parts taken out of a library."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from importlib.machinery import PathFinder
from importlib.util import find_spec, module_from_spec
from pathlib import Path
from types import ModuleType
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


@cache
def compiled_part(folder: str, name: str, *less: ModuleType) -> Any:
    """Return one compiled file of scipy by itself: the package round it takes longer to load than to work.

    Parameters
    ----------
    folder : str
        In the package, "sparse/linalg/_dsolve".
    name : str
        Of the file, without its ending.
    less : module
        Stand in for what it loads with it and nobody here needs, with all that it takes of that.

    Returns
    -------
    module or None
        None where this scipy has no such file, or it takes more of what others stand in for.
    """
    home = find_spec("scipy")
    where = [] if home is None or home.origin is None else [str(Path(home.origin).parent / folder)]
    spec = PathFinder.find_spec(name, where)
    if spec is None or spec.loader is None:
        return None
    stand_ins = {one.__name__: one for one in less if one.__name__ not in sys.modules}
    sys.modules.update(stand_ins)
    try:
        module = module_from_spec(spec)
        spec.loader.exec_module(module)
    except ImportError:
        return None
    finally:
        for one in stand_ins:
            del sys.modules[one]
    return module
