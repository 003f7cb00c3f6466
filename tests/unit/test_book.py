"""The build book as text: order of the work, everything escaped, one file, the same bytes each time."""

from __future__ import annotations

import re
import tracemalloc
from dataclasses import replace
from html.parser import HTMLParser
from typing import Any

import pytest

from plugs.book.book import SECTIONS, book_html, book_parts
from plugs.book.html import Html, el, head_of, quantities_table, quantity, steps, table, text
from plugs.book.source import BookSource
from plugs.drafting.drawing import Drawing
from tests.books import Book, book_of

SPITE = "<script>alert(1)</script><b>\"'&--> </script "
PIXEL = bytes.fromhex(
    "89504e470d0a1a0a0000000d4948445200000001000000010802000000907753de0000000c49444154789c63f8ffff3f0005fe02"
    "fea735819f0000000049454e44ae426082"
)


class Page:
    """What a browser would find in a page: tags, their attributes, and the text outside programs."""

    def __init__(self, page: str) -> None:
        """Read a page."""
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.words: list[str] = []
        self.open: list[str] = []
        told = {
            "handle_starttag": lambda _, tag, given: self.begin(tag, given),
            "handle_endtag": lambda _, tag: self.end(tag),
            "handle_data": lambda _, words: self.words.extend(self.outside_programs(words)),
        }
        reader = type("Reader", (HTMLParser,), told)()
        reader.feed(page)
        reader.close()

    def begin(self, tag: str, given: list[tuple[str, str | None]]) -> None:
        """Note an element."""
        self.tags.append(tag)
        self.attributes += [(tag, name, value or "") for name, value in given]
        if tag not in ("meta", "link", "input", "img", "br"):
            self.open.append(tag)

    def end(self, tag: str) -> None:
        """Note that an element ends, which is the one that began last."""
        assert self.open.pop() == tag

    def outside_programs(self, words: str) -> list[str]:
        """Return text, none of a program or a style."""
        return [] if {"script", "style"} & set(self.open) else [words]


@pytest.fixture(scope="module")
def book() -> Book:
    """Return the book of a small recipe."""
    return book_of("seat_hump")


def spoilt(value: Any) -> Any:
    """Return a summary with markup in every name, text and key that a recipe could hold."""
    if isinstance(value, dict):
        return {key: spoilt(item) for key, item in value.items()}
    if isinstance(value, list):
        return [spoilt(item) for item in value]
    return SPITE + value if isinstance(value, str) and value not in ("mm", "in", "mind", "note") else value


def spoilt_drawing(drawing: Drawing) -> Drawing:
    """Return a drawing with markup in its title, its labels and the names of its groups."""
    return replace(
        drawing,
        title=SPITE + drawing.title,
        labels=tuple(replace(one, text=SPITE + one.text) for one in drawing.labels),
        paths=tuple(replace(one, dxf_layer=one.dxf_layer + SPITE) for one in drawing.paths),
    )


def test_sections_follow_the_work(book: Book) -> None:
    """The headings come in the order of the work, each reached from the contents."""
    heads = re.findall(r'<section id="(\w+)"><h2>', book.page)
    wanted = [name for name, _, _ in SECTIONS if name in heads]
    assert heads == wanted
    assert {"about", "cautions", "cutting", "stacking", "sanding", "fit", "anew"} <= set(heads)
    assert re.findall(r'<a href="#(\w+)">', book.page.partition("</nav>")[0]) == heads


def test_a_recipe_without_stock_is_told_so(book: Book) -> None:
    """No sheets, so the list of what to buy says that no foam is counted; with sheets it does not."""
    told = "lists no stock, or an empty one"
    assert (told in book.page) == (book.summary["sheets"] is None)
    bare = book_html(book.summary | {"sheets": None}, book.drawings, book.scene)
    assert told in bare


def test_every_element_is_closed_in_its_order(book: Book) -> None:
    """The page is well-formed: the reader of the standard library finds each end where it belongs."""
    page = Page(book.page)
    assert page.open == []
    assert page.tags.count("h1") == page.tags.count("main") == 1


def test_same_input_gives_the_same_bytes(book: Book) -> None:
    """No clock and no chance in the book."""
    assert book_html(book.summary, book.drawings, book.scene) == book.page


def test_a_book_is_put_together_once(book: Book) -> None:
    """A page of a thousand layers has thirty megabytes: with every part of it in the whole above, 9 times."""
    tracemalloc.start()
    parts = book_parts(book.summary, book.drawings, book.scene)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert "".join(parts) == book.page
    assert peak < 5.0 * len(book.page)


def test_page_points_nowhere_and_forbids_the_rest(book: Book) -> None:
    """No address but places in the page and pictures within it; its policy names its own programs alone."""
    page = Page(book_html(book.summary, book.drawings, book.scene, {"quarter.png": PIXEL}))
    for tag, name, value in page.attributes:
        if name in ("src", "href", "action", "srcset", "poster", "xlink:href"):
            assert value.startswith(("#", "data:image/png;base64,")) or value == "data:,", (tag, value)
        assert not name.startswith("on")
    policy = next(value for _, name, value in page.attributes if name == "content" and "default-src" in value)
    assert "default-src 'none'" in policy
    assert "unsafe-inline" not in policy.partition("script-src")[2].partition(";")[0]
    assert "@import" not in book.page
    assert "url(" not in book.page.partition("</style>")[0]


def test_no_name_is_used_twice(book: Book) -> None:
    """Every id in the page is the only one, drawings included."""
    ids = [value for _, name, value in Page(book.page).attributes if name == "id"]
    assert sorted(ids) == sorted(set(ids))


def test_markup_in_names_shows_as_text(book: Book) -> None:
    """With markup in every text of the summary, drawings, pictures and bodies, no element is added by it."""
    drawings = {
        f"{path.partition('/')[0]}/{SPITE}{path}": spoilt_drawing(d) for path, d in book.drawings.items()
    }
    scene = replace(
        book.scene, meshes=tuple(replace(one, name=SPITE + one.name) for one in book.scene.meshes)
    )  # fmt: skip
    summary = spoilt(book.summary)
    summary["parameters"] = {SPITE + name: value for name, value in book.summary["parameters"].items()}
    pictures = {SPITE: PIXEL}
    spiteful = Page(book_html(summary, drawings, scene, pictures))
    plain = Page(book_html(book.summary, book.drawings, book.scene, {"quarter": PIXEL}))
    assert spiteful.open == []
    assert spiteful.tags.count("script") == plain.tags.count("script") == 5
    assert "b" not in spiteful.tags
    assert set(spiteful.tags) <= set(plain.tags)
    assert {name for _, name, _ in spiteful.attributes} <= {name for _, name, _ in plain.attributes}
    assert sum(SPITE[:30] in words for words in spiteful.words) > 50


def test_every_drawing_is_in_the_book_once(book: Book) -> None:
    """Also one of a folder that the book has no section for."""
    odd = {"elsewhere/odd": replace(next(iter(book.drawings.values())), title="An odd drawing")}
    page = book_html(book.summary, book.drawings | odd, book.scene)
    for path in book.drawings | odd:
        assert page.count(f"<code>{path}</code>") == 1, path
    assert "An odd drawing" in page


def test_every_finding_is_told_and_warnings_come_first(book: Book) -> None:
    """Warnings stand before the work; each finding stands somewhere, with what to do."""
    rows = [
        {"code": code, "severity": word, "where": f"at {code}", "message": "is so", "remedy": f"see {code}"}
        for code, word in (
            ("thin-layer", "note"), ("mating-fit", "mind"), ("cloth-wrinkles", "mind"), ("odd", "note"),
        )
    ]  # fmt: skip
    page = book_html(book.summary | {"findings": rows}, book.drawings, book.scene)
    begin = page.partition('<section id="cautions">')[2].partition('<section id="')[0]
    assert begin.index("at mating-fit") < begin.index("at odd")
    assert begin.index("at cloth-wrinkles") < begin.index("at odd")
    assert "thin-layer" not in begin
    for row in rows:
        assert page.count(f"Do: {row['remedy']}") == 1
    told = page.partition('<section id="cutting">')[2].partition('<section id="')[0]
    assert re.search("<details><summary>1 note</summary>.*at thin-layer.*</details>", told, re.DOTALL)
    assert begin.index("<details>") > begin.index("at cloth-wrinkles")


def test_every_step_has_a_key_of_its_own(book: Book) -> None:
    """Ticks are kept by step: no two share one; they are those of a recipe, whatever its parameters."""
    page = Page(book.page)
    keys = [value for _, name, value in page.attributes if name == "data-step"]
    assert len(keys) == len(set(keys)) > 10
    mine = next(value for tag, name, value in page.attributes if name == "data-book")
    other = book_html(book.summary | {"parameters": {"length": 1.0}}, book.drawings, book.scene)
    assert mine == "plugs:seat_hump"
    assert re.findall('data-step="[^"]*"', other) == [f'data-step="{key}"' for key in keys]


def test_lengths_are_in_the_recipes_unit(book: Book) -> None:
    """In inches, the sizes of foam are told to the sixteenth."""
    page = book_html(book.summary | {"display_unit": "in"}, {}, book.scene)
    size = page.partition("Foam, length x breadth x height")[2].partition("</tr>")[0]
    assert re.search(r"\d+ \d+/\d+ in|\d+ in", size)
    assert " mm" not in size
    assert 'data-unit="in"' in page


def test_sparse_summary_still_makes_a_book(book: Book) -> None:
    """Without stock, skin, pins or templates the book leaves out what there is not."""
    keys = ("recipe", "display_unit", "parameters", "solid", "layers", "findings")
    page = book_html({key: book.summary[key] for key in keys}, {}, book.scene)
    assert Page(page).open == []
    assert '<section id="skin">' not in page
    assert '<section id="recesses">' not in page


def test_pictures_stand_where_they_belong(book: Book) -> None:
    """A picture of the plug stands in its section for a browser without 3D, others with their step."""
    source = BookSource(
        summary=book.summary, drawings={}, scene=book.scene,
        pictures=dict.fromkeys(("quarter.png", "sanding-map.png", "drape-deck.png", "exploded.png"), PIXEL),
    )  # fmt: skip
    for section, words in (
        ("more", "Quarter"),
        ("sanding", "Sanding map"),
        ("skin", "Drape deck"),
        ("stacking", "Exploded"),
    ):
        assert f"<figcaption>{words}</figcaption>" in source.seen(section)
        assert source.seen(section).count("<img") == 1


def test_figures_are_told_by_the_unit_in_their_name() -> None:
    """Foot 0.3048 m and pound 0.45359237 kg: the agreement of 1959, as in NIST SP 811 (from memory)."""
    assert quantity("from_mm", -12.5, "mm") == "\u221212.5\u00a0mm"
    assert quantity("from_mm", 25.4 * 3.25, "in") == "3\u00a01/4\u00a0in"
    assert quantity("area_m2", 0.09290304, "in") == "0.0929\u00a0m²\u00a0(1\u00a0sq\u00a0ft)"
    assert quantity("weight_kg", 0.45359237, "in") == "454\u00a0g\u00a0(1\u00a0lb)"
    assert quantity("volume_m3", 0.028316846592, "in") == "28.3\u00a0l\u00a0(1\u00a0cu\u00a0ft)"
    assert quantity("thickness_mm", 0.373, "mm") == "0.37\u00a0mm"
    assert quantity("thickness_mm", 0.381, "in") == "0.015\u00a0in"
    assert quantity("gap_mm", 25.4 / 16.0, "in") == "1/16\u00a0in"
    assert quantity("gap_mm", 0.0, "in") == "0\u00a0in"
    assert quantity("gap_round_mm", -0.001, "mm") == "0\u00a0mm"
    assert quantity("gap_round_mm", -0.05, "mm") == "\u22120.05\u00a0mm"
    assert quantity("stretch_min", 0.99268, "mm") == "0.993"
    assert quantity("dose_percent_by_mass", 40.0, "mm") == "40\u00a0%"
    assert quantity("pot_life_min", 40.0, "mm") == "40\u00a0min"
    assert quantity("glue_g", 1250.0, "mm") == "1.25\u00a0kg"
    assert quantity("yield_ratio", 0.745, "mm") in ("74\u00a0%", "75\u00a0%")
    assert quantity("bias_deg", 45.0, "mm") == "45°"
    assert quantity("coverage_g_m2", 150.0, "mm") == "150\u00a0g/m²"
    assert quantity("at_mm", [1.0, None, 3.0], "mm") == "1\u00a0mm, –, 3\u00a0mm"
    assert quantity("is_inside", True, "mm") == "yes"
    assert quantity("name", "<i>", "mm") == "&lt;i&gt;"
    assert head_of("saw_line_area_m2") == "saw line area"


def test_price_of_sheets_is_that_of_all_of_them(book: Book) -> None:
    """The summary's price is of all sheets of a kind: two of 612.45 are 1224.90, and no price of each."""
    kind = {"stock": "board", "count": 2, "width_mm": 1250.0, "height_mm": 900.0, "thickness_mm": 50.0}
    sheets = {"by_stock": [kind | {"price": 2 * 612.45, "yield_ratio": 0.5}], "sheets": []}
    page = book_html(book.summary | {"sheets": sheets}, {}, book.scene)
    shown = page.partition("<caption>Sheets of foam</caption>")[2].partition("</table>")[0]
    heads, cells = re.findall(r"<th scope=.col.>([^<]*)", shown), re.findall(r"<td[^>]*>([^<]*)", shown)
    assert "each" not in shown
    assert dict(zip(heads[1:], cells, strict=True))["Price of all"] == "1224.90"


def test_words_are_escaped_unless_they_are_markup() -> None:
    """Text and attributes are escaped once; markup passes."""
    assert text("a < b & 'c'") == "a &lt; b &amp; &#x27;c&#x27;"
    assert text(Html("<i>")) == "<i>"
    assert el("p", 'x"', None, el("b", "<"), class_='a"b', hidden=True, title=None) == (
        '<p class="a&quot;b" hidden>x&quot;<b>&lt;</b></p>'
    )
    assert table("none", ("a",), []) == ""
    assert steps([]) == ""


def test_column_that_holds_nothing_is_left_out() -> None:
    """A column appears when any row has its figure."""
    rows = [{"name": "one", "price": None}, {"name": "two", "price": None}]
    columns = (("name", "Name"), ("price", "Price"))
    assert "Price" not in quantities_table("t", columns, rows, "mm")
    assert "Price" in quantities_table("t", columns, [*rows, {"name": "three", "price": 2.5}], "mm")


class Titled:
    """A drawing that counts how often its title is read."""

    reads = 0

    def __init__(self, title: str) -> None:
        """Take the title."""
        self._title = title

    @property
    def title(self) -> str:
        """What it shows."""
        Titled.reads += 1
        return self._title


def test_drawings_are_found_by_reading_each_title_once(book: Book) -> None:
    """Of any number of layers; a name may have spaces, and the first of several drawings has it."""
    names = ["L01", "L02 left half", "half", "L03"]
    drawn: Any = {f"layers/layer-{name}": Titled(f"plug, layer {name}") for name in names}
    source = BookSource(summary=book.summary, drawings=drawn, scene=book.scene, pictures={})
    first = ["layers/layer-L01", "layers/layer-L02 left half", "layers/layer-L02 left half"]
    assert source.paths("layers", [*names, "L04"]) == [*first, "layers/layer-L03", ""]
    assert Titled.reads == len(names)
    assert source.cut_by is source.cut_by
