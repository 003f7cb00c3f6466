"""The main demo's book in a real browser: no error, no request, a plug to be seen, ticks kept, whole figures.

The rules are the house's, no outside source; sizes of paper: ISO 216 A4 210 x 297 mm, ANSI Letter 8.5 x 11 in
(from memory).
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pypdf
import pytest
from PIL import Image

from plugs.book.book import book_html
from tests.books import Book, book_of
from tests.browser.chromium import NAMES, Browser, found

pytestmark = pytest.mark.skipif(found() is None, reason=f"none of {', '.join(NAMES)} on this machine")

LARGEST_BYTES = 4_000_000
LARGEST_HEAD = 30_000
MOST_SCREENS = 25.0
PHONE = (390, 844)

FIRST_PAINT = """new Promise((tell) => new PerformanceObserver((list, watcher) => {
  for (const entry of list.getEntries()) {
    if (entry.name === "first-contentful-paint") { watcher.disconnect(); tell(entry.startTime); }
  }
}).observe({ type: "paint", buffered: true }))"""
"""When something was first painted, in ms, told as soon as the browser has noted it."""
MM = 96.0 / 25.4  # pixels of a page
MARGIN_MM = 12.0  # left and right
MARGINS_MM = 29.0  # above and below together
PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}

PIXELS = """(() => {
  const from = document.querySelector(".scene canvas:not(.still)"), to = document.createElement("canvas");
  window.dispatchEvent(new Event("beforeprint"));
  const still = document.querySelector("canvas.still");
  const held = still.getContext("2d").getImageData(0, 0, still.width, still.height).data;
  const seen = new Set();
  let sum = 0;
  for (const colour of new Uint32Array(held.buffer)) {
    seen.add(colour);
    sum = (sum * 31 + colour) % 1000000007;
  }
  return [seen.size, sum];
})()"""
"""How many colours the plug's picture has, and a number that tells two pictures apart."""


@pytest.fixture(scope="module")
def book() -> Book:
    """Return the main demo's book."""
    return book_of("sidecar_tail")


@pytest.fixture(scope="module")
def address(book: Book, tmp_path_factory: pytest.TempPathFactory) -> str:
    """Return where the book lies: a file, as on a stick."""
    path = tmp_path_factory.mktemp("stick") / "book.html"
    path.write_text(book.page, encoding="utf-8", newline="\n")
    return path.as_uri()


@pytest.fixture(scope="module")
def with_pictures(book: Book, tmp_path_factory: pytest.TempPathFactory) -> str:
    """Return where the book lies with pictures of layers, as large as a build's."""
    path = tmp_path_factory.mktemp("pictured") / "book.html"
    held = io.BytesIO()
    Image.new("L", (1600, 1200), 200).save(held, "PNG")
    shown = dict.fromkeys(("exploded", "layers"), held.getvalue())
    written = book_html(book.summary, book.drawings, book.scene, shown)
    path.write_text(written, encoding="utf-8", newline="\n")
    return path.as_uri()


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """Return a browser."""
    with Browser(tmp_path_factory.mktemp("profile")) as made:
        yield made


@contextmanager
def opened(browser: Browser, address: str) -> Iterator[Browser]:
    """Open a page at the width of a tablet, where pictures are small; the browser forgets it afterwards."""
    browser.size(820, 700)
    browser.events.clear()
    browser.go(address)
    yield browser
    browser.run("sessionStorage.clear(), localStorage.clear()")


@pytest.fixture
def page(browser: Browser, address: str) -> Iterator[Browser]:
    """Return a browser on the book."""
    with opened(browser, address) as shown:
        yield shown


@pytest.fixture
def pictured(browser: Browser, with_pictures: str) -> Iterator[Browser]:
    """Return a browser on the book with pictures."""
    with opened(browser, with_pictures) as shown:
        yield shown


def test_book_is_small_and_soon_there(page: Browser, book: Book) -> None:
    """Under 4 MB; little stands before its first words, no program before the last; it is painted."""
    assert len(book.page.encode()) < LARGEST_BYTES
    assert book.page.index("<h1>") < LARGEST_HEAD
    assert book.page.index("<script") > book.page.index("</main>")
    assert page.run(FIRST_PAINT) > 0.0


def test_book_loads_without_error_and_without_request(page: Browser, address: str) -> None:
    """Nothing is asked for but the file itself, and the console stays empty."""
    page.run("document.querySelectorAll('button, select').forEach((b) => b.id !== 'clear' && b.click())")
    assert page.complaints() == []
    assert set(page.requests()) == {address}


def test_plug_is_seen_and_each_control_changes_the_picture(page: Browser) -> None:
    """The canvas is not blank; layers, slider, section, templates, views and keys each change it."""
    assert page.run("document.getElementById('viewer').dataset.ready") == "yes"
    colours, first = page.run(PIXELS)
    assert colours > 50
    acts = (
        "document.querySelector('[data-show=layers]').click()",
        *(
            f"(() => {{ const s = document.querySelector('[data-part=apart]'); s.value = {value};"
            " s.dispatchEvent(new Event('input')); })()"
            for value in (40, 100)
        ),
        "(() => { const s = document.querySelector('[data-part=only]'); s.value = 'L03';"
        " s.dispatchEvent(new Event('change')); })()",
        "document.querySelector('[data-show=foam]').click()",
        "(() => { const s = document.querySelector('[data-part=axis]'); s.value = 'x';"
        " s.dispatchEvent(new Event('change')); })()",
        "(() => { const s = document.querySelector('[data-part=at]'); s.value = 300;"
        " s.dispatchEvent(new Event('input')); })()",
        "document.querySelector('[data-part=templates]').click()",
        "document.querySelector('[data-view=plan]').click()",
        *(
            "document.querySelector('.scene canvas').dispatchEvent("
            f"new KeyboardEvent('keydown', {{key: '{key}', shiftKey: {far}}}))"
            for key, far in (("ArrowLeft", "false"), ("ArrowUp", "true"), ("+", "false"), ("Home", "false"))
        ),
    )
    pictures = [first]
    for act in acts:
        page.run(act)
        colours, picture = page.run(PIXELS)
        assert colours > 3, act
        assert picture != pictures[-1], act
        pictures.append(picture)
    assert page.complaints() == []


def test_plug_turns_by_mouse_and_by_touch(page: Browser) -> None:
    """A drag turns it, one finger turns it, and the wheel zooms it once it is worked in."""
    page.run("document.getElementById('viewer').scrollIntoView({behavior: 'instant'})")
    x, y = page.run(
        "(() => { const b = document.querySelector('.scene canvas').getBoundingClientRect();"
        " return [b.x + b.width / 2, b.y + b.height / 2]; })()"
    )
    _, before = page.run(PIXELS)
    for kind, by, pressed in (("mousePressed", 0, 1), ("mouseMoved", 60, 1), ("mouseReleased", 60, 0)):
        page.call(
            "Input.dispatchMouseEvent",
            type=kind, x=x + by, y=y + by / 2, button="left", buttons=pressed, clickCount=1,
        )  # fmt: skip
    _, dragged = page.run(PIXELS)
    page.call("Input.dispatchMouseEvent", type="mouseWheel", x=x, y=y, deltaX=0, deltaY=-240)
    _, zoomed = page.run(PIXELS)
    page.call("Input.dispatchTouchEvent", type="touchStart", touchPoints=[{"x": x, "y": y}])
    page.call("Input.dispatchTouchEvent", type="touchMove", touchPoints=[{"x": x - 70, "y": y + 10}])
    page.call("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])
    _, touched = page.run(PIXELS)
    assert len({before, dragged, zoomed, touched}) == 4


def test_view_outlives_a_reload(page: Browser) -> None:
    """What was chosen in the plug's picture is there again after the page was read again."""
    page.run("document.querySelector('[data-show=layers]').click()")
    page.run("document.querySelector('[data-view=side]').click()")
    _, before = page.run(PIXELS)
    page.reload()
    assert page.run("document.querySelector('[data-show=layers]').getAttribute('aria-pressed')") == "true"
    assert page.run(PIXELS)[1] == before


def test_ticks_survive_a_reload_and_can_be_cleared(page: Browser) -> None:
    """A box stays ticked by its name; another book's ticks are not these."""
    boxes = "Array.from(document.querySelectorAll('input[data-step]'))"
    count = page.run(f"{boxes}.length")
    assert count > 20
    assert page.run(f"new Set({boxes}.map((b) => b.dataset.step)).size") == count
    page.run(f"{boxes}[3].click(), {boxes}[17].click()")
    page.reload()
    assert page.run(f"{boxes}.map((b, i) => b.checked ? i : -1).filter((i) => i >= 0)") == [3, 17]
    assert page.run("document.getElementById('done').textContent").startswith("2 of ")
    page.run('localStorage.setItem(document.documentElement.dataset.book, \'{"not": "ours"}\')')
    page.reload()
    assert page.run(f"{boxes}.some((b) => b.checked)") is False
    page.run(f"{boxes}[5].click(), window.confirm = () => true, document.getElementById('clear').click()")
    page.reload()
    assert page.run(f"{boxes}.some((b) => b.checked)") is False
    assert page.complaints() == []


@pytest.mark.parametrize(("width", "height"), [PHONE, (820, 1180), (1440, 900)])
def test_nothing_sticks_out(page: Browser, width: int, height: int) -> None:
    """Neither the page nor a table, a card or a command in it is wider than its room, unfolded too."""
    page.size(width, height, is_phone=width < 1000)
    page.reload()
    page.run("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    assert page.run("document.documentElement.scrollWidth") <= width
    out = "(e) => e.scrollWidth > e.clientWidth + 1"
    inner = "'.wide, .cards > li, pre, .sizes, .steps, figcaption, #bar'"
    assert page.run(f"Array.from(document.querySelectorAll({inner})).filter({out}).length") == 0
    assert (
        page.run(
            "Math.min(...Array.from(document.querySelectorAll('.step input')).map((b) => b.clientHeight))"
        )
        >= 20
    )


def test_a_phone_has_little_to_scroll_and_the_next_step_in_reach(pictured: Browser) -> None:
    """At most 25 screens outside what is folded; the bar says how far it is, and leads to the next box."""
    page = pictured
    page.size(*PHONE, is_phone=True)
    page.reload()
    assert page.run("document.documentElement.scrollHeight") <= MOST_SCREENS * PHONE[1]
    boxes = "Array.from(document.querySelectorAll('input[data-step]'))"
    page.run(f"{boxes}.slice(0, 30).forEach((box) => box.click())")
    for y in (0, 5000, 15000):
        page.run(f"window.scrollTo(0, {y})")
        top, low = page.run(
            "(() => { const b = document.getElementById('bar').getBoundingClientRect();"
            " return [b.top, b.bottom]; })()"
        )
        assert PHONE[1] - 90 < top < low <= PHONE[1] + 0.5
    assert page.run("document.getElementById('share').value") == 30
    page.run("document.getElementById('next').click()")
    page.run("new Promise((tell) => requestAnimationFrame(() => requestAnimationFrame(tell)))")
    x, y, width, height = page.run(
        "(() => { const b = document.activeElement.getBoundingClientRect();"
        " return [b.x, b.y, b.width, b.height]; })()"
    )
    assert page.run(f"document.activeElement === {boxes}[30]") is True
    assert x >= 0 and x + width <= PHONE[0] and y >= 0 and y + height < top


def test_everything_has_a_name_to_be_read_aloud(page: Browser) -> None:
    """Pictures, controls and the canvas have names in the browser's own tree of what can be read aloud."""
    page.call("Accessibility.enable")
    asked = ("image", "button", "checkbox", "slider", "combobox", "link", "heading")
    for node in page.call("Accessibility.getFullAXTree")["nodes"]:
        if not node["ignored"] and node["role"]["value"] in asked:
            assert node.get("name", {}).get("value", "").strip(), node


def words_of(page: pypdf.PageObject) -> tuple[str, float]:
    """Return a page's words, and how far up it the lowest stand, but for those in its margin, in points."""
    heights = []

    def note(text: str, whole: list[float], line: list[float], *_: object) -> None:
        if text.strip():
            heights.append(line[4] * whole[1] + line[5] * whole[3] + whole[5])

    told = " ".join(page.extract_text(visitor_text=note).split())
    return told, min(height for height in heights if height > 14.0 * 72.0 / 25.4)


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_no_figure_is_cut_in_print(pictured: Browser, paper: str) -> None:
    """Each figure with its caption is lower than a page, and stays in one piece."""
    page = pictured
    wide, tall = PAPERS[paper]
    page.call("Emulation.setEmulatedMedia", media="print")
    page.size(round((wide - 2.0 * MARGIN_MM) * MM), 1000)
    heights = page.run(
        "Array.from(document.querySelectorAll('figure')).map((f) => f.getBoundingClientRect().height)"
    )
    styles = page.run(
        "Array.from(document.querySelectorAll('figure')).map((f) => getComputedStyle(f).breakInside)"
    )
    page.call("Emulation.setEmulatedMedia", media="")
    assert set(styles) == {"avoid"}
    assert len(heights) > 15
    assert max(heights) < (tall - MARGINS_MM) * MM
    pages = pypdf.PdfReader(io.BytesIO(page.pdf(wide / 25.4, tall / 25.4))).pages
    sheets, heights_of_words = zip(*(words_of(one) for one in pages), strict=True)
    for k, text in enumerate(sheets, start=1):
        assert f"{k} / {len(sheets)}" in text
        assert "Sidecar tail, build book" in text
    for name in ("L01", "L02", "L03", "L04", "L05", "L06", "L07"):
        mine = [text for text in sheets if f"{name}: marked out and sawn" in text]
        assert len(mine) == 1, name
        assert f"layers/layer-{name[1:]}" in mine[0]  # its picture on the same page
    lowest = [
        height / float(one.mediabox.height) for height, one in zip(heights_of_words, pages, strict=True)
    ]
    assert max(lowest[:-1]) < 0.5, lowest  # no page but the last is half empty


def test_pictures_stand_in_where_there_is_no_webgl(book: Book, address: str, tmp_path: Path) -> None:
    """Without 3D the frame stays hidden, nothing complains, and the three views are there."""
    with Browser(tmp_path, "--disable-3d-apis") as browser:
        browser.go(address)
        assert browser.run("document.getElementById('viewer').hidden") is True
        assert browser.run("document.querySelector('#about figure svg').getBoundingClientRect().height") > 100
        assert browser.complaints() == []
