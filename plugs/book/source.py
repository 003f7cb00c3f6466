"""What the sections of the build book draw on: the summary, the drawings by section, the pictures."""

from __future__ import annotations

import base64
import math
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from functools import cached_property
from types import MappingProxyType
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plugs.book.figures import BESIDE, CARD, HEIGHT, SAME_MM, drawing_figures, shapes_of
from plugs.book.html import Html, el, folded, joined, quantity
from plugs.book.scene import BookScene
from plugs.drafting.drawing import LABELS, Drawing
from plugs.drafting.styles import CENTRELINE, CUTS
from plugs.ground.amounts import counted
from plugs.ground.records import record

_PLACES: Final = (
    ("layers/", "layers"),
    ("sheets/", "sheets"),
    ("fairing/", "measured"),
    ("templates/radius-block", "sanding"),
    ("templates/sanding-map", "sanding"),
    ("templates/pocket", "recess"),
    ("templates/form", "recess"),
    ("templates/opening", "opening"),
    ("templates/hard-point", "recess"),
    ("templates/mating", "fit"),
    ("templates/edge-", "skin"),
    ("templates/base-plan", "base"),
    ("templates/board", "boards"),
    ("templates/flange", "mould"),
    ("templates/", "templates"),
    ("wire/", "wire"),
    ("router/", "router"),
    ("cloth/", "skin"),
    ("skin/", "skin"),
)
"""Section of a drawing, by how its path begins; the first that fits."""

_BESIDE_THE_SHAPE: Final = (LABELS, CENTRELINE)  # what is told of a part, and is not the part

_PICTURES: Final = (
    ("changed", "changed"), ("explod", "stacking"), ("layer", "layers"), ("sand", "sanding"),
    ("drape", "skin"), ("cloth", "skin"), ("draft", "mould"),
)  # fmt: skip

_CODES: Final = (
    ("point-left-out", "measured"),
    ("fair-beyond-tolerance", "measured"),
    ("mating-", "fit"),
    ("short-contour", "fit"),
    ("plate-size", "recess"),
    ("no-draft", "mould"),
    ("mould-", "mould"),
    ("thin-floor", "recess"),
    ("opening-", "opening"),
    ("sheets-to-spare", "cutting"),
    ("stale-search", "cutting"),
    ("joint-", "cutting"),
    ("thin-layer", "cutting"),
    ("separate-pieces", "cutting"),
    ("hot-wire", "cutting"),
    ("wire-", "wire"),
    ("router-", "router"),
    ("few-pins", "stacking"),
    ("pins-alike", "stacking"),
    ("little-", "stacking"),
    ("no-contact", "stacking"),
    ("no-hollow", "stacking"),
    ("station-without-template", "templates"),
    ("template-", "templates"),
    ("gauge-", "templates"),
    ("few-screws", "templates"),
    ("weak-slot", "templates"),
    *(
        (begin, "skin")
        for begin in (
            "barrier-",
            "blend-tight",
            "cloth-",
            "dose-",
            "foam-",
            "unused-ply",
            "inside-corner",
            "large-flat",
            "light-skin",
            "mat-",
            "no-ply",
            "lay-up-passes",
            "peel-ply",
            "ply-",
            "pot-life-",
            "print-through",
            "ratio-",
            "shop-cold",
            "skin-",
            "too-thick-wet",
        )
    ),
)
"""Section that a finding belongs to, by how its code begins."""

_STAGES: Final = MappingProxyType(
    {
        "layers": "cutting", "pieces": "cutting", "sheets": "cutting", "pins": "stacking",
        "templates": "templates", "sanding": "sanding", "finish": "skin", "cloth": "skin", "resin": "skin",
        "part": "skin", "shopping": "shopping", "wire": "wire", "mould": "mould",
    }
)  # fmt: skip
"""Section of a finding whose code says nothing, by the stage that it speaks of."""

_WORDS: Final = MappingProxyType({"stop": "Stop", "mind": "Mind", "note": "Note"})
"""How bad a finding is, the worst first."""


@record(frozen=True, kw_only=True, eq=False)
class BookSource:
    """What the sections draw on.

    Attributes
    ----------
    summary : mapping of str to object
        As in summary.json.
    drawings : mapping of str to Drawing
        By path in the folder, without ending.
    pictures : mapping of str to bytes
        PNG, by name.
    """

    summary: Mapping[str, Any]
    drawings: Mapping[str, Drawing]
    scene: BookScene
    pictures: Mapping[str, bytes]

    @property
    def unit(self) -> str:
        """The unit in which lengths are told, ``"mm"`` or ``"in"``."""
        return str(self.summary.get("display_unit", "mm"))

    @property
    def along(self) -> Mapping[str, Any] | None:
        """The curve that the plug's stations stand square to; None of a straight plug."""
        curve: Mapping[str, Any] | None = self.summary["solid"].get("along")
        return curve

    @property
    def centreline(self) -> str:
        """What is drawn along the middle of the board: "centreline", or "curve" where that bends in plan."""
        return "curve" if self.along is not None and self.along["view"] == "plan" else "centreline"

    @property
    def title(self) -> str:
        """Name of the plug."""
        return str(self.summary["recipe"]["title"])

    def rows(self, name: str) -> list[Mapping[str, Any]]:
        """Return a list of the summary.

        Returns
        -------
        list of mapping
            Empty where there is none.
        """
        found = self.summary.get(name)
        return list(found) if isinstance(found, list) else []

    def quantity(self, name: str, value: object) -> Html:
        """Return a figure of the summary for a person.

        Parameters
        ----------
        name : str
            With its unit.
        """
        return quantity(name, value, self.unit)

    def known(self, figures: Mapping[str, Any], name: str) -> Html | None:
        """Return a figure of some that is there; None where it is not.

        Parameters
        ----------
        figures : mapping of str to object
        name : str
            With its unit.
        """
        return None if figures.get(name) is None else self.quantity(name, figures[name])

    def reach(self, axis: str, begin: float, finish: float) -> Html:
        """Return from where to where something reaches along an axis.

        Parameters
        ----------
        axis : str
            "x", "y" or "z".
        begin, finish : float, mm
        """
        ends = [self.quantity("at_mm", value) for value in (begin, finish)]
        return joined([f"{axis} = ", ends[0], " to ", ends[1]])

    def paths(self, section: str, names: Sequence[str]) -> list[str]:
        """Return the paths of a section's drawings by what they are titled after.

        Parameters
        ----------
        names : sequence of str

        Returns
        -------
        list of str
            Without ending, one for each name; empty texts for what is not drawn on its own.
        """
        found: dict[str, str] = {}
        for path, drawing in self.of(section).items():
            words = drawing.title.split(" ")
            for k in range(1, len(words)):
                found.setdefault(" ".join(words[k:]), path)
        return [found.get(name, "") for name in names]

    def of(self, section: str) -> dict[str, Drawing]:
        """Return the drawings of a section.

        Parameters
        ----------
        section : str
            ``"more"`` for those that belong to none.
        """
        return self._by_section.get(section, {})

    @cached_property
    def _by_section(self) -> dict[str, dict[str, Drawing]]:
        """The drawings of each section."""
        found = defaultdict[str, dict[str, Drawing]](dict)
        for path, drawing in self.drawings.items():
            found[_place(path, _PLACES)][path] = drawing
        return {**found}

    def figures(self, section: str, words: str = "", *, height: float = HEIGHT) -> Html:
        """Return the figures of a section.

        Parameters
        ----------
        words : str
            Told in the caption of each.
        height : float, mm
            Of paper, at most.
        """
        return joined(self.all_drawn(self.of(section), words, height=height))

    def drawn(
        self,
        path: str,
        drawing: Drawing,
        words: str = "",
        *,
        height: float = HEIGHT,
        as_drawn: bool = False,
    ) -> Html:
        """Return a drawing as a figure that tells its file.

        Parameters
        ----------
        path : str
            Without ending.
        height : float, mm
            Of paper, at most.
        as_drawn : bool
            Whether all that is written stays as it is.
        """
        return self.all_drawn({path: drawing}, words, height=height, as_drawn=as_drawn)[0]

    def all_drawn(
        self,
        drawings: Mapping[str, Drawing],
        words: str = "",
        *,
        height: float = HEIGHT,
        as_drawn: bool = False,
    ) -> list[Html]:
        """Return drawings as figures that tell their files.

        Parameters
        ----------
        drawings : mapping of str to Drawing
            By path, without ending.
        words : str
            Told in the caption of each.
        height : float, mm
            Of paper, at most.
        as_drawn : bool
            Whether all that is written stays as it is.
        """
        captions = []
        for path, drawing in drawings.items():
            name = drawing.title.removeprefix(f"{self.title}, ")
            end = f". {words} " if words else " "
            captions.append(joined([name[:1].upper(), name[1:], end, el("code", path)]))
        shown = [*drawings.values()]
        return drawing_figures(shown, captions, unit=self.unit, height=height, as_drawn=as_drawn)

    def picture(self, path: str) -> Html | None:
        """Return a drawing as the picture of a card; None where it is not drawn.

        Parameters
        ----------
        path : str
            Without ending.
        """
        return self.pictures_of([path]).get(path)

    def pictures_of(self, paths: Iterable[str]) -> dict[str, Html]:
        """Return drawings as the pictures of cards, by path; what is not drawn has none.

        Parameters
        ----------
        paths : iterable of str
            Without ending.
        """
        known = [path for path in dict.fromkeys(paths) if path in self.drawings]
        drawings, captions = [self.drawings[path] for path in known], [el("code", path) for path in known]
        width, height = CARD
        found = drawing_figures(drawings, captions, unit=self.unit, width=width, height=height)
        return dict(zip(known, found, strict=True))

    def others(self, section: str, shown: Collection[str], *, height: float = HEIGHT) -> Html:
        """Return the figures of a section but those that are shown on its cards.

        Parameters
        ----------
        shown : collection of str
            Paths, without ending.
        height : float, mm
            Of paper, at most.
        """
        found = {path: one for path, one in self.of(section).items() if path not in shown}
        return joined(self.all_drawn(found, height=height))

    def shape(self, path: str, passed_over: Sequence[str] = ()) -> list[list[object]]:
        """Return what a drawing shows, in numbers that change with its shape alone; empty without one.

        Parameters
        ----------
        path : str
            Without ending.
        passed_over : sequence of str
            How groups of lines begin that are not asked for.
        """
        if path not in self.drawings:
            return []
        if path not in self._shapes:  # one of a section is seldom asked for alone
            asked = self.of(_place(path, _PLACES))
            self._shapes.update(zip(asked, shapes_of([*asked.values()]), strict=True))
        groups, steps = self._shapes[path]
        gone = (*passed_over, *_BESIDE_THE_SHAPE)
        told = zip(groups, steps.tolist(), strict=True)
        return [[group, *row] for group, row in told if not group.startswith(gone)]

    @cached_property
    def _shapes(self) -> dict[str, tuple[list[str], NDArray[np.int64]]]:
        """What drawings show, of those that were asked for: each is asked for twice or more."""
        return {}

    def size(self, path: str) -> tuple[float, ...]:
        """Return how long and how wide, in mm, what is cut of a drawing is; empty without one.

        Parameters
        ----------
        path : str
            Without ending.
        """
        drawing = self.drawings.get(path)
        points = [one.points for one in drawing.paths if one.dxf_layer in CUTS] if drawing else []
        return tuple(np.ptp(np.concatenate(points), axis=0).tolist()) if points else ()

    def extent(self, path: str) -> Html | None:
        """Return how long and how wide what is cut of a drawing is, for a person; None without one.

        Parameters
        ----------
        path : str
            Without ending.
        """
        return self.sides(self.size(path))

    def sides(self, sizes: Sequence[float]) -> Html | None:
        """Return sizes for a person, their unit once; None without any.

        Parameters
        ----------
        sizes : sequence of float, mm
        """
        unit = f"\u00a0{self.unit}"
        told = joined((Html(self.quantity("size_mm", side).removesuffix(unit)) for side in sizes), " x ")
        return joined([told, unit]) if told else None

    @property
    def whole(self) -> list[int]:
        """The plug's box and volume, in steps that the last digits do not count in."""
        solid = self.summary["solid"]
        told = [*solid["bounds_mm"]["from"], *solid["bounds_mm"]["to"], 1e6 * solid["volume_m3"]]
        return [math.floor(value / SAME_MM + BESIDE) for value in told]

    @cached_property
    def cut_by(self) -> Mapping[str, str]:
        """Pieces and templates that a machine or a bow cuts, by name: the section that tells how."""
        told = {one["piece"]: "wire" for one in (self.summary.get("bow") or {}).get("pairs") or []}
        for program in (self.summary.get("wire") or {}).get("programs") or []:
            told |= {one["name"]: "wire" for one in program["pieces"]}
        for program in (self.summary.get("router") or {}).get("programs") or []:
            told |= dict.fromkeys(program["parts"], "router")
        return told

    def seen(self, section: str) -> Html:
        """Return the pictures of a section.

        Parameters
        ----------
        section : str
            ``"more"`` for those of the whole plug.
        """
        found = [name for name in self.pictures if _place(name.lower(), _PICTURES) == section]
        return joined(self._picture(name) for name in found)

    def _picture(self, name: str) -> Html:
        """Return a picture as a figure."""
        words = name.rpartition("/")[2].removesuffix(".png").replace("-", " ").replace("_", " ")
        source = "data:image/png;base64," + base64.b64encode(self.pictures[name]).decode("ascii")
        image = el("img", src=source, alt=f"{self.title}: {words}")
        return el("figure", el("div", image, class_="sheet"), el("figcaption", words.capitalize()))

    def findings(self, section: str) -> Html:
        """Return the findings of a section, the worst first, its notes folded.

        Parameters
        ----------
        section : str
            ``"all"`` for all but notes, and the notes that belong to no section.
        """
        found = self.rows("findings")
        if section == "all":
            mine = [f for f in found if f["severity"] != "note" or _section(f) == "more"]
        else:
            mine = [f for f in found if _section(f) == section]
        mine.sort(key=lambda f: [*_WORDS].index(f["severity"]))
        notes = [_finding(f) for f in mine if f["severity"] == "note"]
        loud = [f for f in mine if f["severity"] != "note"]
        told = (
            [_finding(f) for f in loud]
            if section == "all"
            else [_reminder([f for f in loud if f["severity"] == word]) for word in _WORDS]
        )
        return joined([*told, folded(counted(len(notes), "note"), *notes)])


def _place(name: str, table: Sequence[tuple[str, str]]) -> str:
    """Return where a name belongs, by how it begins."""
    return next((place for begin, place in table if name.startswith(begin)), "more")


def _section(found: Mapping[str, Any]) -> str:
    """Return the section that a finding belongs to."""
    place = _place(found["code"], _CODES)
    return place if place != "more" else _STAGES.get(found.get("stage", ""), "more")


def _reminder(found: Sequence[Mapping[str, Any]]) -> Html | None:
    """Return that there are findings, which are told where the book begins."""
    if not found:
        return None
    where = "; ".join(dict.fromkeys(f["where"] for f in found))
    there = el("a", "what to do stands under Before you begin", href="#cautions")
    words = el("strong", _WORDS[found[0]["severity"]])
    return el("p", words, f", {where}: ", there, class_="finding warning")


def _finding(found: Mapping[str, Any]) -> Html:
    """Return a finding: what, where, and what to do."""
    severity = found["severity"]
    head = el("p", el("strong", _WORDS[severity]), f", {found['where']}: {found['message']}")
    shade = "note" if severity == "note" else "warning"
    return el("div", head, el("p", f"Do: {found['remedy']}"), class_=f"finding {shade}")
