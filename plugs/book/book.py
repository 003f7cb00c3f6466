"""The build book: one page that works from a stick in the shop, follows the order of the work, and prints.

It asks nothing of any network: style, programs, drawings and bodies all stand in it, and its own policy
forbids the rest. What comes from a recipe is written as text, whatever it holds.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import Any, Final

from plugs.body.looked_at import PICTURE_MM
from plugs.book.html import Html, el, folded, numbered, parts_of
from plugs.book.measuring import fit, measuring
from plugs.book.openings import openings
from plugs.book.parts import about, cautions, cutting, measured, templates
from plugs.book.scene import BookScene, scene_json
from plugs.book.shopping import mould, shopping
from plugs.book.skin import skin
from plugs.book.source import BookSource
from plugs.book.steps import anew, more, recesses, sanding, stacking
from plugs.book.wire import router, wire
from plugs.drafting.drawing import Drawing
from plugs.ground.errors import promise

_WEB: Final = Path(__file__).with_name("web")

SECTIONS: Final[tuple[tuple[str, str, Callable[[BookSource], Html | list[Html]]], ...]] = (
    ("about", "The part", about),
    ("cautions", "Before you begin", cautions),
    ("measured", "The measured lines", measured),
    ("shopping", "What to buy", shopping),
    ("templates", "Templates", templates),
    ("cutting", "Cutting", cutting),
    ("router", "Cutting on the router", router),
    ("wire", "Cutting by wire", wire),
    ("stacking", "Stacking and gluing", stacking),
    ("sanding", "Sanding", sanding),
    ("recesses", "Recesses, bosses and other shapes", recesses),
    ("openings", "Openings scribed on the foam", openings),
    ("skin", "Laminate", skin),
    ("mould", "The mould", mould),
    ("fit", "Fit and check", fit),
    ("measuring", "Measuring the real thing", measuring),
    ("more", "Further drawings", more),
    ("anew", "Change a number, build again", anew),
)
"""The sections in the order of the work: name, heading, what writes it."""

_LOST: Final = el(
    "div", el("p", id="lost-words"), el("button", "Forget them", type="button", id="forget"),
    id="lost", class_="finding warning screen", role="status", hidden=True,
)  # fmt: skip
"""What was ticked in an earlier build and is no longer there."""

_BAR: Final = el(
    "aside",
    el("progress", id="share", aria_label="Steps ticked", max=1, value=0),
    el("p", el("span", id="done", aria_live="polite"), " ", el("a", id="next", href="#about")),
    id="bar", class_="screen", aria_label="Progress", hidden=True,
)  # fmt: skip
"""How many steps are ticked, and the next that is not, in reach wherever the page stands."""

_ON_PAPER: Final = "Drawings are not to scale: cut from the files, or by the shop pack"
_PAGE: Final = 'counter(page) " / " counter(pages)'


def book_html(
    summary: Mapping[str, Any],
    drawings: Mapping[str, Drawing],
    scene: BookScene,
    pictures: Mapping[str, bytes] | None = None,
) -> str:
    """Return the build book.

    Parameters
    ----------
    summary, drawings, scene, pictures : object
        As for `book_parts`.

    Returns
    -------
    str
        An HTML document of its own.
    """
    return "".join(book_parts(summary, drawings, scene, pictures))


def book_parts(
    summary: Mapping[str, Any],
    drawings: Mapping[str, Drawing],
    scene: BookScene,
    pictures: Mapping[str, bytes] | None = None,
) -> list[Html]:
    """Return the build book in parts that follow each other.

    Parameters
    ----------
    summary : mapping of str to object
        As in summary.json.
    drawings : mapping of str to Drawing
        By path in the folder, without ending.
    scene : BookScene
    pictures : mapping of str to bytes or None
        PNG by name, of the plug and of steps.

    Returns
    -------
    list of Html
    """
    source = BookSource(summary=summary, drawings=drawings, scene=scene, pictures=pictures or {})
    contents, chapters = list[Html](), list[Html]()
    for name, head, write in SECTIONS:
        body = write(source)
        if body:
            contents.append(el("li", el("a", head, href=f"#{name}")))
            chapters += parts_of("section", el("h2", head), body, id=name)
    return page_parts(
        f"{source.title}, build book",
        f"plugs:{summary['recipe']['name']}",
        scene,
        el("a", "To the work", href="#about", class_="skip"),
        el("header", el("h1", source.title, " ", el("small", "Build book")), _LOST),
        el("nav", folded("Contents", el("ol", *contents), on_paper=False), aria_label="Contents"),
        parts_of("main", numbered(chapters)),
        _BAR,
    )


def page_html(title: str, key: str, scene: BookScene, *content: Html) -> str:
    """Return a page of the book's kind, with its style, its programs and what it shows in three dimensions.

    Parameters
    ----------
    title, key, scene, content : object
        As for `page_parts`.

    Returns
    -------
    str
        An HTML document of its own.
    """
    return "".join(page_parts(title, key, scene, *content))


def page_parts(title: str, key: str, scene: BookScene, *content: Html | list[Html]) -> list[Html]:
    """Return a page of the book's kind in parts that follow each other.

    Parameters
    ----------
    title : str
    key : str
        Under which a browser keeps what was ticked and turned, of one build and of those after it.
    scene : BookScene
    content : Html or list of Html
        What stands in it.

    Returns
    -------
    list of Html
    """
    body = parts_of("body", *content, _footer(), _scripts(scene))
    page = parts_of("html", _head(title), body, lang="en", data_book=key)
    return [Html("<!DOCTYPE html>\n"), *page, Html("\n")]


def _footer() -> Html:
    """Return what the pictures are, and whose program draws them."""
    return el(
        "footer",
        el(
            "p",
            "Drawings here are not to scale, bodies in the 3D view within ",
            f"{PICTURE_MM:g} mm of the surface: "
            "cut from the files, or laid out by the shop pack; full-size paper is in paper/. "
            "The views are drawn by three.js, under the MIT licence.",
            class_="note",
        ),
        el("button", "Untick all", type="button", id="clear", hidden=True),
        class_="screen",
    )


def _head(title: str) -> Html:
    """Return the head of the page: its policy lets nothing in but what the page holds."""
    programs = " ".join(f"'sha256-{_digest(program)}'" for program in _programs())
    policy = (
        f"default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'self' {programs}; "
        "connect-src 'self'; base-uri 'none'; form-action 'none'"
    )
    return el(
        "head",
        el("meta", charset="utf-8"),
        el("meta", http_equiv="Content-Security-Policy", content=policy),
        el("meta", name="viewport", content="width=device-width, initial-scale=1"),
        el("meta", name="color-scheme", content="light dark"),
        el("link", rel="icon", href="data:,"),
        el("title", title),
        el("style", Html(_web("book.css")), Html(_running(title))),
    )


def _running(title: str) -> str:
    """Return the style that writes title and page number on every sheet of paper."""
    words = "".join(one if one.isascii() and one.isalnum() else f"\\{ord(one):06x}" for one in title)
    small = "font: 8.5pt sans-serif; color: #333333;"
    corners = {"top-left": f'"{words}"', "bottom-left": f'"{_ON_PAPER}"', "bottom-right": _PAGE}
    return (
        "@page {"
        + " ".join(f"@{name} {{ content: {told}; {small} }}" for name, told in corners.items())
        + "}"
    )


def _scripts(scene: BookScene) -> list[Html]:
    """Return the scene and the programs that show it."""
    held = parts_of("script", Html(scene_json(scene)), type="application/json", id="scene")
    return [*held, *(el("script", Html(program)) for program in _programs())]


@cache
def _programs() -> tuple[str, ...]:
    """Return the programs of the page; the library carries its licence."""
    licence = _web("three.LICENSE.txt").replace("*/", "* /")
    library = f"/*\n{licence}*/\n{_web('three.min.js')}"
    found = (_web("book.js"), library, _web("shading.js"), _web("viewer.js"))
    ends = any("</script" in program.lower() or "<!--" in program for program in found)
    promise(not ends, "no program ends its own element")
    return found


@cache
def _web(name: str) -> str:
    """Return a file that goes into the page, its line ends as the page has them."""
    return (_WEB / name).read_text(encoding="utf-8").replace("\r\n", "\n")


@cache
def _digest(program: str) -> str:
    """Return a program's digest, as the page's policy names it."""
    return base64.b64encode(hashlib.sha256(program.encode()).digest()).decode("ascii")
