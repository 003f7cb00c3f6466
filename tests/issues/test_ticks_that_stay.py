"""A step is known by what it is, not by its number: after the next build what did not change stays ticked.

Expected values by hand: a box of three layers of 40 mm whose uppermost alone has its blend.
"""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape
from pathlib import Path

import pytest

from plugs.book.book import book_html
from tests.books import Book, book_of
from tests.browser.chromium import NAMES, Browser, found

RECIPE = '''"""A box of three layers."""
from plugs import Corner, Pins, Plug, Stack, Station


def box(radius=10.0, long=300.0):
    corners = {"foot": Corner(100.0, 0.0), "edge": Corner(100.0, 120.0, radius)}
    return Plug(
        name="Box", panels=("floor", "side", "deck"), stack=Stack(axis="z", thicknesses=(40.0,)),
        stations=[Station(x=x, corners=corners) for x in (0.0, long)], pins=Pins(diameter=6.0),
    )
'''


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> tuple[Book, Book, Book]:
    """Return a book, that of the box with another blend, and that of a longer box."""
    path = tmp_path_factory.mktemp("box") / "box.py"
    path.write_text(RECIPE, encoding="utf-8")
    return book_of(path), book_of(path, radius=18.0), book_of(path, long=310.0)


def ticks(page: str) -> dict[str, str]:
    """Return the words of each step by its key."""
    rows = re.findall(r'data-step="([^"]*)"> <span>(.*?)</span></label>', page, flags=re.DOTALL)
    return {key: unescape(re.sub(r"<[^>]*>", "", words)) for key, words in rows}


def test_what_did_not_change_keeps_its_key(books: tuple[Book, Book, Book]) -> None:
    """With another blend the lower two layers and their joint stay; the uppermost and what hangs on it go."""
    one, other, longer = (ticks(book.page) for book in books)
    stay = [one[key] for key in one if key in other]
    gone = [one[key] for key in one if key not in other]
    assert {"L01: marked out and sawn", "L02: marked out and sawn", "L01 to L02 glued"} <= set(stay)
    assert {"L03: marked out and sawn", "L02 to L03 glued"} <= set(gone)
    assert any("stacked dry" in words for words in gone)
    same = {one[key].replace("\xa0", " ") for key in one if key in longer}
    assert same == {
        "Read by everyone who works on it", "Pins: rod of 6 mm, 192 mm in all",
        "Pins cut from rod of 6 mm: 6 of 32 mm", "B1 R10 edge: block made, edge rounded with it",
    }  # fmt: skip


def test_another_number_is_the_same_piece(books: tuple[Book, Book, Book]) -> None:
    """Where a layer is put in below, those over it have new names; their keys stay."""
    book = books[1]
    names = {"L01": "L07", "L02": "L08", "L03": "L09"}

    def renamed(value: object) -> object:
        if isinstance(value, dict):
            return {key: renamed(item) for key, item in value.items()}
        if isinstance(value, list):
            return [renamed(item) for item in value]
        return names.get(value, value) if isinstance(value, str) else value

    summary = renamed(book.summary)
    assert isinstance(summary, dict)
    drawings = {path.replace("layer-0", "layer-1"): one for path, one in book.drawings.items()}
    for old, new in names.items():
        drawings = {
            path: replace(one, title=one.title.replace(old, new), labels=()) for path, one in drawings.items()
        }
    again = ticks(book_html(summary, drawings, book.scene))
    assert again.keys() == ticks(book.page).keys()
    assert "L09: marked out and sawn" in again.values()


@pytest.mark.skipif(found() is None, reason=f"none of {', '.join(NAMES)} on this machine")
def test_a_browser_keeps_them_and_says_what_went(books: tuple[Book, Book, Book], tmp_path: Path) -> None:
    """All ticked, built again with another blend: the same boxes are ticked, the others are told by name."""
    path = tmp_path / "book.html"
    path.write_text(books[0].page, encoding="utf-8")
    one, other = (ticks(book.page) for book in books[:2])
    told = "document.getElementById('lost')"
    with Browser(tmp_path / "profile") as page:
        page.go(path.as_uri())
        page.run("document.querySelectorAll('input[data-step]').forEach((box) => box.click())")
        assert page.run(f"{told}.hidden") is True
        assert page.run("document.getElementById('next').hidden") is True
        path.write_text(books[1].page, encoding="utf-8")
        page.reload()
        boxes = "Array.from(document.querySelectorAll('input[data-step]'))"
        kept = page.run(f"{boxes}.filter((box) => box.checked).map((box) => box.dataset.step)")
        assert kept == [key for key in other if key in one]
        lost = page.run(f"{told}.innerText")
        assert f"{len(one.keys() - other.keys())} ticks are taken off" in lost
        assert "L03: marked out and sawn" in lost and "L01: marked out" not in lost
        assert page.run("document.getElementById('next').textContent").startswith("Next: ")
        page.run("document.getElementById('forget').click()")
        page.reload()
        assert page.run(f"{told}.hidden") is True
        assert page.run(f"{boxes}.filter((box) => box.checked).length") == len(kept)
        assert page.complaints() == []
