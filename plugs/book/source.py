"""What the sections of the build book draw on: the summary, the drawings by section, the pictures."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any, Final

from plugs.book.figures import HEIGHT, drawing_figure
from plugs.book.html import Html, el, joined, quantity
from plugs.book.scene import BookScene
from plugs.drafting.drawing import Drawing
from plugs.ground.amounts import counted
from plugs.ground.records import record

_PLACES: Final = (
    ("layers/", "layers"),
    ("sheets/", "sheets"),
    ("fairing/", "measured"),
    ("templates/radius-block", "sanding"),
    ("templates/sanding-map", "sanding"),
    ("templates/recess", "recess"),
    ("templates/mating", "fit"),
    ("templates/base-plan", "base"),
    ("templates/board", "boards"),
    ("templates/", "templates"),
    ("wire/", "wire"),
    ("router/", "router"),
    ("cloth/", "skin"),
    ("skin/", "skin"),
)
"""Section of a drawing, by how its path begins; the first that fits."""

_PICTURES: Final = (
    ("changed", "changed"), ("explod", "layers"), ("layer", "layers"), ("sand", "sanding"), ("drape", "skin"),
    ("cloth", "skin"),
)  # fmt: skip

_CODES: Final = (
    ("point-left-out", "measured"),
    ("fair-beyond-tolerance", "measured"),
    ("mating-", "fit"),
    ("short-contour", "fit"),
    ("plate-size", "recess"),
    ("no-draft", "recess"),
    ("thin-floor", "recess"),
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
        "part": "skin", "shopping": "shopping", "wire": "wire",
    }
)  # fmt: skip
"""Section of a finding whose code says nothing, by the stage that it speaks of."""

_WORDS: Final = MappingProxyType({"stop": "Stop", "mind": "Mind", "note": "Note"})
"""How bad a finding is, the worst first."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
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

    def of(self, section: str) -> dict[str, Drawing]:
        """Return the drawings of a section.

        Parameters
        ----------
        section : str
            ``"more"`` for those that belong to none.
        """
        return {path: drawing for path, drawing in self.drawings.items() if _place(path, _PLACES) == section}

    def figures(self, section: str, words: str = "", *, height: float = HEIGHT) -> Html:
        """Return the figures of a section.

        Parameters
        ----------
        words : str
            Told in the caption of each.
        height : float, mm
            Of paper, at most.
        """
        found = self.of(section).items()
        return joined(self.drawn(path, drawing, words, height=height) for path, drawing in found)

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
        where = joined([el("strong", drawing.title), ". Not to scale; the drawing is ", el("code", path)])
        caption = joined([where, f". {words}" if words else "."])
        return drawing_figure(drawing, caption=caption, unit=self.unit, height=height, as_drawn=as_drawn)

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
        folded = el("details", el("summary", counted(len(notes), "note")), *notes) if notes else None
        tell = _finding if section == "all" else _reminder
        return joined([*(tell(f) for f in mine if f["severity"] != "note"), folded])


def _place(name: str, table: Sequence[tuple[str, str]]) -> str:
    """Return where a name belongs, by how it begins."""
    return next((place for begin, place in table if name.startswith(begin)), "more")


def _section(found: Mapping[str, Any]) -> str:
    """Return the section that a finding belongs to."""
    place = _place(found["code"], _CODES)
    return place if place != "more" else _STAGES.get(found.get("stage", ""), "more")


def _reminder(found: Mapping[str, Any]) -> Html:
    """Return that there is a finding, which is told where the book begins."""
    there = el("a", "what to do stands under Before you begin", href="#cautions")
    return el(
        "p", el("strong", _WORDS[found["severity"]]), f", {found['where']}: ", there, class_="finding warning"
    )


def _finding(found: Mapping[str, Any]) -> Html:
    """Return a finding: what, where, and what to do."""
    severity = found["severity"]
    head = el("p", el("strong", _WORDS[severity]), f", {found['where']}: {found['message']}")
    shade = "note" if severity == "note" else "warning"
    return el("div", head, el("p", f"Do: {found['remedy']}"), class_=f"finding {shade}")
