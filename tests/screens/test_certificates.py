"""Certificates on the screen: read, turned over, saved and opened, by key and palette."""

from __future__ import annotations

import shutil
import threading
from pathlib import Path

import pypdf
import pytest

from press_monitor.archive import Archive, ArchiveReader
from press_monitor.certificate import export
from press_monitor.paths import HOME_VARIABLE
from press_monitor.screens.app import Dashboard
from press_monitor.screens.certificates.screen import CertificateScreen
from press_monitor.screens.dialogs.inspection import InspectionDialog
from press_monitor.screens.floor.screen import FloorScreen
from tests.archive.helpers import flip, tamper
from tests.certificate.conftest import seal
from tests.screens.conftest import make_dashboard, screen_lines
from tests.screens.fakes import shop_of

SIZE = (100, 30)


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(HOME_VARIABLE, str(tmp_path / "home"))


@pytest.fixture(scope="module")
def sealed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sealed")
    with Archive.open(folder / "cures.sqlite", key_path=folder / "ledger.key") as archive:
        for number in (1, 2):
            seal(archive, number)
    return folder / "cures.sqlite"


def over(path: Path | None) -> Dashboard:
    app = make_dashboard(shop_of())
    app.archive = path
    return app


async def settled(app, pilot) -> str:
    await app.workers.wait_for_complete()
    await pilot.pause()
    return "\n".join(screen_lines(app))


def held(monkeypatch, owner: type, name: str) -> threading.Event:
    """Have a method wait for the event before it does its work."""
    go, real = threading.Event(), getattr(owner, name)
    monkeypatch.setattr(owner, name, lambda *args, **named: (go.wait(10.0), real(*args, **named))[1])
    return go


async def test_the_newest_comes_up_and_the_keys_turn_it_over(sealed):
    app = over(sealed)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("c")
        assert isinstance(app.screen, CertificateScreen)
        shown = await settled(app, pilot)
        assert "Certificate 2, the shop's copy" in shown
        assert "Dry Fork Quarry" in shown
        await pilot.press("right")
        assert "Certificate 2, the shop's copy" in await settled(app, pilot)
        await pilot.press("left")
        assert "Certificate 1, the shop's copy" in await settled(app, pilot)
        await pilot.press("left")
        assert "Certificate 1, the shop's copy" in await settled(app, pilot)
        await pilot.press("c")
        assert "Certificate 1, the customer's copy" in await settled(app, pilot)
        await pilot.press("c")
        assert "Certificate 1, the label" in await settled(app, pilot)
        await pilot.press("escape")
        assert isinstance(app.screen, FloorScreen)


async def test_it_scrolls_to_its_end_and_no_further(sealed):
    app = over(sealed)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("c")
        top = await settled(app, pilot)
        await pilot.press("end")
        end = await settled(app, pilot)
        assert "Where local codes" in end
        await pilot.press("down", "pagedown")
        assert await settled(app, pilot) == end
        await pilot.press("home")
        assert await settled(app, pilot) == top
        await pilot.press("down")
        assert await settled(app, pilot) != top


async def test_no_column_of_the_text_is_cut_on_the_narrowest_terminal(sealed):
    app = over(sealed)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("c")
        assert "=" * 80 in await settled(app, pilot)


async def test_each_form_is_saved_beside_the_archive_and_it_says_where(sealed):
    app = over(sealed)
    folder = sealed.parent / "certificates"
    async with app.run_test(size=(200, 40)) as pilot:
        await pilot.press("c")
        await settled(app, pilot)
        for key, name, begins in (
            ("s", "certificate-000002.pdf", b"%PDF-"),
            ("h", "certificate-000002.html", b"<!doctype html>"),
            ("x", "certificate-000002.csv", b"# press-monitor certificate"),
        ):
            await pilot.press(key)
            shown = await settled(app, pilot)
            assert f"saved: {folder / name}" in shown
            assert (folder / name).read_bytes().startswith(begins)
        assert pypdf.PdfReader(folder / "certificate-000002.pdf").metadata.title == "Certificate 2: review"
        await pilot.press("c")
        await settled(app, pilot)
        await pilot.press("h")
        await settled(app, pilot)
        assert (folder / "certificate-000002-customer.html").exists()


async def test_opening_hands_it_to_the_desktop_or_says_that_it_cannot(sealed, monkeypatch):
    given: list[Path] = []
    monkeypatch.setattr(export, "show_file", lambda path: bool(given.append(path)) or len(given) == 1)
    app = over(sealed)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("c")
        await settled(app, pilot)
        await pilot.press("o")
        await settled(app, pilot)
        assert given[0].read_bytes().startswith(b"%PDF-")
        assert app.screen.words == f"saved: {given[0]}"
        await pilot.press("o")
        await settled(app, pilot)
        assert app.screen.words.startswith("no viewer could be started")


async def test_a_changed_record_is_not_shown(sealed, tmp_path):
    mine = tmp_path / "mine.sqlite"
    shutil.copy(sealed, mine)
    tamper(mine, lambda db: flip(db, "ledger", "signature", "seq", 2, 9))
    app = over(mine)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("c")
        shown = await settled(app, pilot)
        assert "is not what was sealed; run verify" in shown
        assert "Dry Fork Quarry" not in shown
        await pilot.press("s")
        await settled(app, pilot)
        assert app.screen.words.startswith("not saved: ")
        assert not list(tmp_path.rglob("*.pdf"))


async def test_an_archive_without_any_says_when_there_will_be_one(tmp_path):
    Archive.open(tmp_path / "new.sqlite", key_path=tmp_path / "ledger.key").close()
    app = over(tmp_path / "new.sqlite")
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("c")
        assert "No certificate yet" in await settled(app, pilot)
        await pilot.press("s", "o", "left", "right")
        await settled(app, pilot)


async def test_the_palette_offers_it_where_there_is_an_archive(sealed):
    for archive, offered in ((sealed, True), (None, False)):
        app = over(archive)
        async with app.run_test(size=SIZE) as pilot:
            titles = [command.title for command in app.get_system_commands(app.screen)]
            assert ("Certificates" in titles) is offered
            await pilot.press("c")
            await settled(app, pilot)
            assert isinstance(app.screen, CertificateScreen) is offered


async def test_help_explains_it(sealed):
    app = over(sealed)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("c")
        await settled(app, pilot)
        await pilot.press("question_mark")
        assert "shop's copy, customer's copy, label" in await settled(app, pilot)


@pytest.mark.parametrize("key", ["i", "b", "w", "e", "v", "s"])
async def test_a_key_before_the_certificate_is_read_enters_nothing_and_says_so(sealed, monkeypatch, key):
    reading = held(monkeypatch, CertificateScreen, "_read")
    app = over(sealed)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("c", key)
        assert isinstance(app.screen, CertificateScreen)
        await pilot.pause()
        assert "still reading: press it once more" in "\n".join(screen_lines(app))
        assert app.source.notices == ()
        reading.set()
        assert "Certificate 2, the shop's copy" in await settled(app, pilot)


async def test_an_inspection_is_of_the_certificate_that_is_read_not_of_one_on_its_way(sealed, monkeypatch):
    app = over(sealed)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("c")
        await settled(app, pilot)
        reading = held(monkeypatch, CertificateScreen, "_read")
        await pilot.press("left", "i")
        assert isinstance(app.screen, CertificateScreen)
        reading.set()
        assert "Certificate 1, the shop's copy" in await settled(app, pilot)
        await pilot.press("i")
        assert isinstance(app.screen, InspectionDialog)
        assert "Inspection of certificate 1" in await settled(app, pilot)


async def test_the_next_key_counts_while_the_same_certificate_is_read_anew(sealed, monkeypatch):
    app = over(sealed)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("c")
        await settled(app, pilot)
        reading = held(monkeypatch, CertificateScreen, "_read")
        app.screen.look_again()  # as after an inspection was entered
        await pilot.press("i")
        assert isinstance(app.screen, InspectionDialog)
        reading.set()


async def test_no_question_comes_up_over_another_screen(sealed, monkeypatch):
    app = over(sealed)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("c")
        await settled(app, pilot)
        reading = held(monkeypatch, ArchiveReader, "records")
        await pilot.press("b", "question_mark")
        help_shown = app.screen
        reading.set()
        await settled(app, pilot)
        assert app.screen is help_shown
