"""The build book: one page that works from a stick in the shop, follows the order of the work, and prints.

It asks nothing of any network: style, programs, drawings and bodies all stand in it, and its own policy
forbids the rest. What comes from a recipe is written as text, whatever it holds.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import Any, Final

from plugs.book.html import Html, el, joined
from plugs.book.measuring import measuring
from plugs.book.parts import about, cautions, cutting, measured, templates
from plugs.book.scene import PICTURE_MM, BookScene, scene_json
from plugs.book.shopping import shopping
from plugs.book.skin import skin
from plugs.book.source import BookSource
from plugs.book.steps import anew, fit, more, recesses, sanding, stacking
from plugs.book.wire import router, wire
from plugs.drafting.drawing import Drawing
from plugs.ground.errors import promise

_WEB: Final = Path(__file__).with_name("web")
_DIGITS: Final = 16  # of the digest: enough to tell two recipes of one shop apart

SECTIONS: Final[tuple[tuple[str, str, Callable[[BookSource], Html]], ...]] = (
    ("about", "What it is, and its size", about),
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
    ("skin", "Skin", skin),
    ("fit", "Fit and check", fit),
    ("measuring", "Measuring the real thing", measuring),
    ("more", "Further drawings", more),
    ("anew", "Parameters, and building it anew", anew),
)
"""The sections in the order of the work: name, heading, what writes it."""


def book_html(
    summary: Mapping[str, Any],
    drawings: Mapping[str, Drawing],
    scene: BookScene,
    pictures: Mapping[str, bytes] | None = None,
) -> str:
    """Return the build book.

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
    str
        An HTML document of its own.
    """
    source = BookSource(summary=summary, drawings=drawings, scene=scene, pictures=pictures or {})
    written = [(name, head, body) for name, head, write in SECTIONS if (body := write(source))]
    contents = el("ol", *(el("li", el("a", head, href=f"#{name}")) for name, head, _ in written))
    chapters = [el("section", el("h2", head), body, id=name) for name, head, body in written]
    return page_html(
        f"{source.title}, build book",
        _key(summary),
        scene,
        el("a", "To the work", href="#about", class_="skip"),
        el("header", el("p", "Build book", class_="lead"), el("h1", source.title), _progress()),
        el("nav", contents, aria_label="Contents"),
        el("main", *chapters),
    )


def page_html(title: str, key: str, scene: BookScene, *content: Html) -> str:
    """Return a page of the book's kind, with its style, its programs and what it shows in three dimensions.

    Parameters
    ----------
    title : str
    key : str
        Under which a browser keeps what was ticked and turned.
    scene : BookScene
    content : Html
        What stands in it.

    Returns
    -------
    str
        An HTML document of its own.
    """
    body = el("body", *content, _footer(), _scripts(scene))
    page = el("html", _head(title), body, lang="en", data_book=key)
    return f"<!DOCTYPE html>\n{page}\n"


def _progress() -> Html:
    """Return how many steps are ticked, and a button to clear them."""
    clear = el("button", "Untick all", type="button", id="clear", hidden=True)
    return el("p", el("span", id="done", aria_live="polite"), clear, class_="progress screen")


def _footer() -> Html:
    """Return what the pictures are, and whose program draws them."""
    return el(
        "footer",
        el(
            "p",
            "In the views, bodies are drawn with as few faces as stay within ",
            f"{PICTURE_MM:g} mm of the surface, and figures are smaller than life: "
            "cut from the files, or laid out by the shop pack; full-size paper is in paper/. "
            "The views are drawn by three.js, under the MIT licence.",
            class_="note",
        ),
    )


def _key(summary: Mapping[str, Any]) -> str:
    """Return under what the browser keeps the ticks: recipe, its digest and that of its parameters."""
    recipe = summary["recipe"]
    what = json.dumps([recipe["sha256"], summary.get("parameters")], sort_keys=True, ensure_ascii=False)
    return f"plugs:{recipe['name']}:{hashlib.sha256(what.encode()).hexdigest()[:_DIGITS]}"


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
        el("style", Html(_web("book.css"))),
    )


def _scripts(scene: BookScene) -> Html:
    """Return the scene and the programs that show it."""
    held = el("script", Html(scene_json(scene)), type="application/json", id="scene")
    return joined([held, *(el("script", Html(program)) for program in _programs())])


@cache
def _programs() -> tuple[str, ...]:
    """Return the programs of the page; the library carries its licence."""
    licence = _web("three.LICENSE.txt").replace("*/", "* /")
    library = f"/*\n{licence}*/\n{_web('three.min.js')}"
    found = (_web("book.js"), library, _web("viewer.js"))
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
