"""A hostile record as files: pages that run nothing, sheets that compute nothing, names that lead nowhere."""

from __future__ import annotations

import csv
import io
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from click.testing import CliRunner

from drivers.log import read_log
from press_monitor.archive import ArchiveReader
from press_monitor.certificate.copies import Copy, read_copy
from press_monitor.certificate.export import FORMS, certificate_bytes, export_all
from press_monitor.cli import cli
from tests.audit.cures import Bench
from tests.hostile.hostile_shop import make
from tests.hostile.test_console import dangerous

RUNS = re.compile(r"\s*[=+\-@\t\r＝＋－＠]")
"""What a spreadsheet takes for the beginning of a formula (common practice, no source)."""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Bench, Copy]:
    bench, number = make(tmp_path_factory.mktemp("exports"))
    with ArchiveReader(bench.path) as reader:
        return bench, read_copy(reader, number)


class Page(HTMLParser):
    """Collects elements and their attributes."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))


@pytest.mark.parametrize("which", ["shop", "customer"])
def test_the_page_holds_no_element_that_was_typed(made: tuple[Bench, Copy], which: str) -> None:
    text = certificate_bytes(made[1], "html", which).decode()
    page = Page()
    page.feed(text)
    assert {tag for tag, _ in page.found} & {"script", "img", "iframe", "object", "form", "base"} == set()
    assert not [a for _, attrs in page.found for a in attrs if a.startswith("on")]
    assert "&lt;img" in text and not dangerous(text)


def test_the_sheet_computes_nothing_and_is_read_again(made: tuple[Bench, Copy], tmp_path: Path) -> None:
    data = certificate_bytes(made[1], "csv")
    for split in ",;\t|":
        for row in csv.reader(io.StringIO(data.decode("utf-8-sig")), delimiter=split):
            for cell in row:
                assert not RUNS.match(cell) or re.fullmatch(r"\s*-?[\d.]*", cell), cell
    path = tmp_path / "certificate.csv"
    path.write_bytes(data)
    log = read_log(path)
    assert made[1].trace is not None and len(log.rows) == len(made[1].trace)


def test_text_and_paper_hold_letters_only(made: tuple[Bench, Copy]) -> None:
    from pypdf import PdfReader

    assert not dangerous(certificate_bytes(made[1], "text").decode())
    reader = PdfReader(io.BytesIO(certificate_bytes(made[1], "pdf")))
    words = "".join(page.extract_text() for page in reader.pages)
    assert "Upper Mesa" in words and not dangerous(words.replace("\r", ""))
    for page in reader.pages:
        assert "/AA" not in page and all("/JS" not in str(a.get_object()) for a in page.get("/Annots") or [])
    assert "/OpenAction" not in reader.trailer["/Root"]


def test_no_export_leaves_its_folder(made: tuple[Bench, Copy], tmp_path: Path) -> None:
    inside = tmp_path / "deep" / "inside"
    with ArchiveReader(made[0].path) as reader:
        for form in FORMS:
            for told in export_all(reader, [1], inside, form):
                assert told.trouble is None and told.place.resolve().parent == inside.resolve()
    there = {each for each in tmp_path.rglob("*") if each.is_file()}
    assert len(there) == len(FORMS) and {each.parent for each in there} == {inside}
    done = CliRunner().invoke(cli, ["--archive", str(made[0].path), "records", "--export", str(tmp_path / "all")])
    assert done.exit_code in (0, 1), done.output
    assert {each.parent for each in tmp_path.rglob("*") if each.is_file()} == {inside, tmp_path / "all"}
