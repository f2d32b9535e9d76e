"""The printed page, read back by pypdf, rendered by PDFium and scanned by ZXing: three readers that are not ours."""

from __future__ import annotations

import hashlib
import io
import re
import subprocess
import sys
import unicodedata
from dataclasses import replace
from pathlib import Path

import pypdf
import pypdfium2
import pytest
import zxingcpp

from press_monitor.archive.trace import Trace
from press_monitor.archive.types import CertificateRecord
from press_monitor.certificate.cautions import DEFERENCE, INFLATION, PROVES, SHOP_CAUTIONS
from press_monitor.certificate.customer import VERIFIED, customer_copy
from press_monitor.certificate.facts import shop_copy
from press_monitor.certificate.label import label_copy
from press_monitor.certificate.model import Certificate, Grid, Pair, Words
from press_monitor.certificate.pdf import LABELS, PAPERS, render_pdf
from press_monitor.certificate.proof import code_text, read_code
from tests.certificate.samples import WATCHED_LIVE, entry, record, result, ugly

ROOT = Path(__file__).resolve().parent.parent.parent
AFTER = b"\x44" * 32
CASES = sorted(ugly())


def ugly_one(name: str) -> tuple[CertificateRecord, Trace]:
    return ugly()[name]


def copies(kept: CertificateRecord, trace: Trace) -> dict[str, Certificate]:
    return {
        "shop": shop_copy(kept, trace, AFTER),
        "customer": customer_copy(kept, trace, AFTER),
        "label": label_copy(kept, AFTER),
    }


def read(data: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(data), strict=True)


def squeezed(text: str) -> str:
    """Without blanks: lines break where they must."""
    return re.sub(r"\s+", "", unicodedata.normalize("NFC", text))


def text_of(data: bytes) -> str:
    return squeezed("".join(page.extract_text() for page in read(data).pages))


def scanned(data: bytes, scale: float = 3.0) -> list[str]:
    document = pypdfium2.PdfDocument(data)
    try:
        found = [code for page in document for code in zxingcpp.read_barcodes(page.render(scale=scale).to_pil())]
    finally:
        document.close()
    return [code.text for code in found]


def facts_of(certificate: Certificate) -> list[str]:
    said = [certificate.title, certificate.subtitle, certificate.footer, *certificate.banners]
    for section in certificate.sections:
        said.append(section.title)
        for item in section.items:
            match item:
                case Pair(label, value):
                    said += [label, value]
                case Words(text):
                    said.append(text)
                case Grid(head, rows):
                    said += [cell for row in (head, *rows) for cell in row]
    return said


@pytest.mark.parametrize(
    ("verdict", "paper"),
    [("pass", "letter"), ("exceptions", "a4"), ("review", "letter"), ("fail", "a4"), ("incomplete", "letter")],
)
def test_every_fact_can_be_read_back(verdict: str, paper: str) -> None:
    later = (entry(40, "inspection", result="accepted", inspector="Wilma Oakes"),)
    kept, trace = record({**WATCHED_LIVE, "result": result(verdict=verdict)}, later)
    for name in ("shop", "customer"):
        certificate = copies(kept, trace)[name]
        text = text_of(render_pdf(certificate, paper))
        for fact in facts_of(certificate):
            assert squeezed(fact).lower() in text.lower(), fact
    assert squeezed(VERIFIED[verdict][0]) in text
    for caution in (*INFLATION, DEFERENCE, *PROVES):
        assert squeezed(caution) in text


@pytest.mark.parametrize(("name", "paper"), [(name, ("letter", "a4")[n % 2]) for n, name in enumerate(CASES)])
def test_ugly_records_keep_their_pages_in_order(name: str, paper: str) -> None:
    for which, certificate in copies(*ugly_one(name)).items():
        size = (LABELS if which == "label" else PAPERS)[paper]
        document = pypdfium2.PdfDocument(render_pdf(certificate, paper))
        pages = list(document)
        assert which == "shop" or len(pages) == 1
        assert len(pages) <= 12
        for page in pages:
            assert page.get_size() == pytest.approx(size, abs=0.01)
            type_ = page.get_textpage()
            for banner in certificate.banners:
                assert squeezed(banner).lower() in squeezed(type_.get_text_range()).lower()
            boxes = [type_.get_rect(n) for n in range(type_.count_rects())]
            for left, bottom, right, top in boxes:
                assert left >= 2.0 and bottom >= 2.0, (which, left, bottom)
                assert right <= size[0] - 2.0 and top <= size[1] - 2.0, (which, right, top)
            overlapping(boxes)
        document.close()


def overlapping(boxes: list[tuple[float, float, float, float]]) -> None:
    """No line of type lies on another."""
    real = [box for box in boxes if box[2] - box[0] > 1.0 and box[3] - box[1] > 1.0]
    for n, (left, bottom, right, top) in enumerate(real):
        for other in real[n + 1 :]:
            wide = min(right, other[2]) - max(left, other[0])
            high = min(top, other[3]) - max(bottom, other[1])
            least = min(top - bottom, other[3] - other[1])
            assert wide < 1.5 or high < 0.45 * least, (real[n], other)


def test_what_the_shops_copy_holds_and_the_customers_does_not() -> None:
    people = {"skived": "Tom Arlen", "buffed": "Ines Ward"}
    ticket = {
        "customer": "Dry Fork Quarry",
        "tire": "23.5R25",
        "people": people,
        "operator": "Jo Reed",
        "note": "for Al",
    }
    did = {"t": 900.0, "kind": "extend", "operator": "Jo Reed", "note": "felt cold", "seconds": 600.0}
    later = (entry(40, "inspection", result="accepted", inspector="Wilma Oakes"),)
    kept, trace = record({"ticket": ticket, "actions": [did]}, later)
    made = copies(kept, trace)
    shop, customer, label = (text_of(render_pdf(made[name], "letter")) for name in ("shop", "customer", "label"))
    for name in ("Tom Arlen", "Ines Ward", "Jo Reed", "Wilma Oakes", "for Al", "felt cold"):
        assert squeezed(name) in shop
        assert squeezed(name) not in customer
        assert squeezed(name) not in label
    assert squeezed("1: extend by Jo Reed: felt cold") in shop
    for text in (customer, shop):
        assert squeezed("Dry Fork Quarry") in text
    assert squeezed("Inspected: accepted") in customer
    for caution in SHOP_CAUTIONS:
        assert squeezed(caution) in shop


def test_cure_record_and_inspection_are_told_apart() -> None:
    kept, trace = record({"result": result(verdict="pass", reasons=["deepest rubber 94 %"])})
    text = text_of(render_pdf(customer_copy(kept, trace, AFTER), "letter"))
    assert squeezed("Cure record verified") in text
    assert squeezed("Not inspected") in text


@pytest.mark.parametrize(
    ("which", "paper"), [("shop", "letter"), ("customer", "a4"), ("label", "letter"), ("label", "a4")]
)
def test_the_code_can_be_scanned_from_the_page(which: str, paper: str) -> None:
    kept, trace = record()
    told = scanned(render_pdf(copies(kept, trace)[which], paper))
    assert told == [code_text(kept, AFTER)]
    code = read_code(told[0])
    assert code is not None
    assert (code.number, code.hash, code.key_fingerprint) == (7, kept.sealed.hash, kept.key_fingerprint)


def test_the_label_can_be_scanned_as_a_coarse_label_printer_prints_it() -> None:
    kept, _ = record()
    assert scanned(render_pdf(label_copy(kept, AFTER), "letter"), 203 / 72) == [code_text(kept, AFTER)]


def test_banners_are_on_every_page_of_every_copy() -> None:
    for name, said in (
        ("forty alarms", "replayed from a log, not watched live"),
        ("played back", "replayed from a log, not watched live"),
        ("simulated", "simulated press: no rubber was cured"),
    ):
        for which, certificate in copies(*ugly_one(name)).items():
            document = pypdfium2.PdfDocument(render_pdf(certificate, "letter"))
            pages = [squeezed(page.get_textpage().get_text_range()).lower() for page in document]
            document.close()
            assert which != "shop" or len(pages) > 1
            assert all(squeezed(said) in page for page in pages), (name, which)
    live, trace = record({"source": "live", "source_log_sha256": None, "setup": {"units": "us", "driver": "modbus"}})
    assert "replayed" not in text_of(render_pdf(shop_copy(live, trace, AFTER), "letter")).lower()


def test_non_latin_names_are_on_the_page() -> None:
    kept, trace = ugly_one("long names")
    text = text_of(render_pdf(shop_copy(kept, trace, AFTER), "letter"))
    for name in ("Владимир Ильинский", "山田修理工場", "한국", "Große"):
        assert squeezed(name) in text, name
    # No font here has Thai letters: they are told by their codes.
    assert "[U+0E44][U+0E17][U+0E22]" in text


def test_right_to_left_names_are_drawn_in_order_and_copied_as_written() -> None:
    kept, trace = ugly_one("long names")
    data = render_pdf(shop_copy(kept, trace, AFTER), "letter")
    streams = b"".join(page.get_contents().get_data() for page in read(data).pages)  # type: ignore[union-attr]
    for name in ("محمد علي", "שלום כהן"):
        assert f"/ActualText <FEFF{name.encode('utf-16-be').hex().upper()}>".encode() in streams
    drawn = pypdfium2.PdfDocument(data)
    whole = "".join(page.get_textpage().get_text_range() for page in drawn)
    drawn.close()
    assert "שלום" in whole or "שלום"[::-1] in whole


def test_all_letters_are_embedded() -> None:
    for name in ("long names", "forty alarms"):
        kept, trace = ugly_one(name)
        for certificate in copies(kept, trace).values():
            for page in read(render_pdf(certificate, "a4")).pages:
                for font in page["/Resources"]["/Font"].values():  # type: ignore[index]
                    about = font.get_object()
                    if about["/BaseFont"] == "/Helvetica":
                        continue  # the canvas names it on every page and never writes with it
                    assert "/FontFile2" in about["/FontDescriptor"], about["/BaseFont"]


def test_the_files_own_facts_come_from_the_record() -> None:
    kept, trace = record()
    reader = read(render_pdf(shop_copy(kept, trace, AFTER), "letter"))
    about = reader.metadata
    assert about is not None
    assert about.title == "Certificate 7: review"
    assert about.author == "Juniper Flat Section Repair"
    assert "replayed from a log" in str(about.subject)
    assert about.creation_date_raw == about.modification_date_raw == "D:20300317195141+00'00'"
    assert [item.title for item in reader.outline][:3] == [
        "Tire and repair",
        "What mats and bag did",
        "Cure at release",
    ]  # type: ignore[union-attr]
    assert reader.trailer["/Root"]["/Lang"] == "en"  # type: ignore[index]


def test_the_same_record_gives_the_same_bytes_anywhere_at_any_time() -> None:
    code = (
        "import hashlib, sys\n"
        "from tests.certificate.samples import record\n"
        "from press_monitor.certificate.facts import shop_copy\n"
        "from press_monitor.certificate.label import label_copy\n"
        "from press_monitor.certificate.pdf import render_pdf\n"
        "kept, trace = record()\n"
        "for made in (shop_copy(kept, trace, b'D' * 32), label_copy(kept, b'D' * 32)):\n"
        "    print(made.copy, hashlib.sha256(render_pdf(made, 'letter')).hexdigest())\n"
    )
    told = set()
    for zone, seed, epoch in (("UTC", "0", ""), ("Asia/Kolkata", "1", "1700000000")):
        environ = {"TZ": zone, "PYTHONHASHSEED": seed, "SOURCE_DATE_EPOCH": epoch, "PATH": "", "PYTHONUTF8": "1"}
        ran = subprocess.run(
            [sys.executable, "-c", code], cwd=ROOT, env=environ, capture_output=True, text=True, timeout=60, check=True
        )
        told.add(ran.stdout)
    assert len(told) == 1
    kept, trace = record()
    first = render_pdf(shop_copy(kept, trace, AFTER), "letter")
    render_pdf(shop_copy(*ugly_one("long names"), AFTER), "letter")  # leaves nothing behind in the fonts
    assert render_pdf(shop_copy(kept, trace, AFTER), "letter") == first
    assert f"shop {hashlib.sha256(first).hexdigest()}" in told.pop()


def test_a_broken_date_harms_nothing() -> None:
    kept, trace = record()
    made = shop_copy(kept, trace, AFTER)
    assert read(render_pdf(replace(made, dated="yesterday"), "letter")).metadata is not None
