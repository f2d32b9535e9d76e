"""The web page: sound by itself, and as a real browser shows, prints and reads it out."""

from __future__ import annotations

import io
import re
import unicodedata
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import pypdfium2
import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from press_monitor.certificate.code import code_rows
from press_monitor.certificate.html import SIGNS, render_html
from press_monitor.certificate.model import Certificate, Grid, Pair, Section, Words
from press_monitor.certificate.proof import code_text
from tests.certificate.browser import Browser, chromium
from tests.certificate.samples import WATCHED_LIVE, entry, record, result, ugly
from tests.certificate.test_pdf import AFTER, copies, facts_of, squeezed

VOID = {"meta", "path", "rect", "polyline"}
ALLOWED = {
    *(
        "html",
        "head",
        "meta",
        "title",
        "style",
        "body",
        "div",
        "header",
        "h1",
        "h2",
        "p",
        "main",
        "section",
        "dl",
        "dt",
    ),
    *(
        "dd",
        "ul",
        "li",
        "table",
        "thead",
        "tbody",
        "tr",
        "th",
        "td",
        "figure",
        "svg",
        "path",
        "rect",
        "polyline",
        "text",
    ),
    *("pre", "footer", "span"),
}
ATTRIBUTES = {
    *("lang", "charset", "name", "content", "http-equiv", "class", "role", "aria-label", "aria-labelledby", "id"),
    *("aria-hidden", "scope", "style", "viewbox", "preserveaspectratio", "d", "fill", "stroke", "stroke-width"),
    *("stroke-dasharray", "stroke-linejoin", "stroke-linecap", "points", "x", "y", "width", "height", "data-name"),
    *("font-size", "font-weight", "text-anchor", "shape-rendering"),
}


class Reader(HTMLParser):
    """Tags that nest, text, and nothing that is not meant to be there."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.stack: list[str] = []
        self.text: list[str] = []
        self.ids: list[str] = []
        self.refers: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert tag in ALLOWED, tag
        for name, value in attrs:
            assert name in ATTRIBUTES, name
            if name == "id":
                self.ids.append(value or "")
            if name == "aria-labelledby":
                self.refers.append(value or "")
        if tag not in VOID:
            self.stack.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.stack.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.stack and self.stack[-1] == tag, (tag, self.stack[-3:])
        self.stack.pop()

    def handle_data(self, data: str) -> None:
        if "style" not in self.stack:
            self.text.append(data)


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    reader.close()
    assert reader.stack == []
    assert len(set(reader.ids)) == len(reader.ids)
    assert set(reader.refers) <= set(reader.ids)
    return reader


@pytest.mark.parametrize("verdict", ["pass", "exceptions", "review", "fail", "incomplete"])
def test_every_fact_is_in_the_page(verdict: str) -> None:
    later = (entry(40, "inspection", result="accepted", inspector="Wilma Oakes"),)
    kept, trace = record({**WATCHED_LIVE, "result": result(verdict=verdict)}, later)
    for certificate in copies(kept, trace).values():
        page = render_html(certificate, "letter")
        text = squeezed("".join(read(page).text))
        for fact in facts_of(certificate):
            if certificate.copy != "label" or fact not in ("Job", "Seal"):
                assert squeezed(fact) in text, fact
        assert SIGNS[verdict][0] in page


def test_nothing_is_loaded_and_nothing_can_run() -> None:
    for kept, trace in ugly().values():
        for certificate in copies(kept, trace).values():
            page = render_html(certificate, "a4")
            read(page)  # which knows no tag and no attribute that loads or runs anything
            assert "default-src 'none'" in page
            assert not re.search(r"<script|url\(|@import|https?:", page)


TYPED = st.text(st.characters(codec="utf-8"), max_size=80) | st.sampled_from(
    ["</style><script>alert(1)</script>", '" onload="x', "]]>", "<!--", "&#60;b&#62;", "\x00", "\u202e", "&amp;lt;"]
)


@settings(deadline=None)
@given(TYPED, TYPED, TYPED)
def test_whatever_is_typed_stays_text(label: str, value: str, cell: str) -> None:
    items = (Pair(label, value), Words(value, bullet=True), Words(cell, strong=True), Grid((label,), ((cell,),)))
    page = render_html(Certificate(1, label, value, (cell,), (Section("x", cell, items),)), "letter")
    told = squeezed("".join(read(page).text))
    hidden = {c for c in page if unicodedata.category(c) in ("Cc", "Cf", "Zl", "Zp")}
    assert hidden <= {"\n", "\u200c", "\u200d"}
    if value.isprintable():
        assert squeezed(value) in told


def test_the_same_content_gives_the_same_page() -> None:
    kept, trace = record()
    for certificate in copies(kept, trace).values():
        assert render_html(certificate, "letter") == render_html(certificate, "letter")


def test_the_code_is_the_one_that_was_asked_for() -> None:
    text = code_text(record()[0], AFTER)
    modules, bars = code_rows(text)
    # ISO/IEC 18004: at level M version 14 holds 362 bytes and version 15 412; version 15 has 77 modules a side
    # (from memory).
    assert (len(text), modules) == (376, 77)
    picture = Image.new("L", (modules + 8, modules + 8), 255)
    for row, column, length in bars:
        picture.paste(0, (column + 4, row + 4, column + 4 + length, row + 5))
    found = zxingcpp.read_barcodes(picture.resize((picture.width * 4, picture.height * 4), Image.Resampling.NEAREST))
    assert [each.text for each in found] == [text]


# -- in a real browser --


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    program = chromium()
    if program is None:
        pytest.skip("no chromium here: .ci/run installs Debian's")
    opened = Browser(program)
    yield opened
    opened.close()


def written(folder: Path, certificate: Certificate, paper: str = "letter") -> Path:
    path = folder / "certificate.html"
    path.write_text(render_html(certificate, paper), "utf-8")
    return path


def test_a_browser_reads_it_out_in_order(browser: Browser, tmp_path: Path) -> None:
    kept, trace = record()
    complaints = browser.open(written(tmp_path, copies(kept, trace)["shop"]))
    asked = [each["params"]["request"]["url"] for each in complaints if "request" in each["params"]]
    assert all(url.startswith("file:") and url.endswith("certificate.html") for url in asked)
    assert [each for each in complaints if each["method"] != "Network.requestWillBeSent"] == []
    tree = browser.tree()
    roles = {role for role, _ in tree}
    assert {"banner", "main", "contentinfo", "note", "table", "columnheader", "rowheader", "list"} <= roles
    headings = [name for role, name in tree if role == "heading"]
    assert headings[0] == "Certificate 7: review"
    assert headings[1:4] == ["Tire and repair", "Verdict", "What mats and bag did"]
    images = [name for role, name in tree if role in ("image", "img")]
    assert any("Mats against the band, °F. " in name and "inner mat 70 to 305 °F" in name for name in images)
    assert any(name.startswith("QR code: press-monitor certificate 7") for name in images)
    assert all(images)
    spoken = [name for role, name in tree if role in ("term", "definition", "StaticText")]
    assert "Dry Fork Quarry" in spoken
    assert not [name for role, name in tree if role == "link"]


def test_a_browser_draws_it_on_wide_and_narrow_screens(browser: Browser, tmp_path: Path) -> None:
    kept, trace = record({"result": result(verdict="fail")})
    browser.open(written(tmp_path, copies(kept, trace)["shop"]))
    for width in (1280, 760, 360):
        picture = Image.open(io.BytesIO(browser.picture(width, 1400))).convert("RGB")
        assert picture.size == (width, 1400)
        assert browser.value("document.documentElement.scrollWidth") <= width
        seen = {colour for _, colour in picture.getcolors(1 << 20) or []}
        assert tuple(bytes.fromhex(SIGNS["fail"][1][1:])) in seen  # the verdict's panel
        assert (255, 255, 255) in seen and (26, 26, 26) in seen  # the page and the banner
    narrow = browser.value(
        "[...document.querySelectorAll('p,dd,dt,li,h1,h2,td,th')].filter(e => e.scrollWidth > e.clientWidth + 1).length"
    )
    assert narrow == 0


def pages_of(data: bytes) -> tuple[list[str], list[tuple[float, float]], list[str]]:
    document = pypdfium2.PdfDocument(data)
    texts = [squeezed(page.get_textpage().get_text_range()) for page in document]
    sizes = [page.get_size() for page in document]
    codes = [code.text for page in document for code in zxingcpp.read_barcodes(page.render(scale=3).to_pil())]
    document.close()
    return texts, sizes, codes


@pytest.mark.parametrize(
    ("which", "paper", "size"),
    [("shop", "letter", (612, 792)), ("customer", "a4", (595, 842)), ("label", "letter", (288, 144))],
)
def test_it_prints_with_its_banner_on_every_page(
    browser: Browser, tmp_path: Path, which: str, paper: str, size: tuple[float, float]
) -> None:
    kept, trace = record()
    browser.open(written(tmp_path, copies(kept, trace)[which], paper))
    texts, sizes, codes = pages_of(browser.printed())
    assert all(each == pytest.approx(size, abs=1.5) for each in sizes)
    assert all("REPLAYEDFROMALOG,NOTWATCHEDLIVE" in text.upper() for text in texts)
    assert codes == [code_text(kept, AFTER)]
    assert len(texts) == 1 or which == "shop"


@pytest.mark.parametrize("name", ["hostile text", "long names", "forty alarms", "no ticket"])
def test_ugly_records_show_without_complaint(browser: Browser, tmp_path: Path, name: str) -> None:
    for which, certificate in copies(*ugly()[name]).items():
        complaints = browser.open(written(tmp_path, certificate))
        assert [each for each in complaints if each["method"] != "Network.requestWillBeSent"] == []
        browser.picture(800, 600)
        assert browser.value("document.documentElement.scrollWidth") <= 800, which
        assert browser.value("document.querySelectorAll('script,img,b,iframe').length") == 0
        assert which != "label" or len(pages_of(browser.printed())[0]) == 1
