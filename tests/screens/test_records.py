"""The records screen over a real archive: every action by key, mouse and palette, and what it adds to the ledger."""

from __future__ import annotations

import shutil
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

import pytest
from textual import events

from press_monitor.archive import Archive, ArchiveReader
from press_monitor.archive.entries import comeback_body, inspection_body
from press_monitor.screens.app import Dashboard
from press_monitor.screens.certificates.screen import CertificateScreen
from press_monitor.screens.dialogs.attach import AttachDialog
from press_monitor.screens.dialogs.comeback import ComebackDialog
from press_monitor.screens.dialogs.correction import CorrectionDialog
from press_monitor.screens.dialogs.filters import FilterDialog
from press_monitor.screens.dialogs.inspection import InspectionDialog
from press_monitor.screens.dialogs.told import ToldDialog
from press_monitor.screens.dialogs.where_used import WhereUsedDialog
from press_monitor.screens.floor.screen import FloorScreen
from press_monitor.screens.press.screen import PressScreen
from press_monitor.screens.records.overlay import OverlayScreen
from press_monitor.screens.records.screen import RecordsScreen
from press_monitor.screens.records.sheet import SheetScreen
from press_monitor.screens.stores.screen import StoresScreen
from press_monitor.screens.widgets.palette import Tone
from tests.archive.helpers import NOON, flip, tamper
from tests.audit.cures import DAY, Bench, warming
from tests.benchmarks._records import make_archive
from tests.screens.conftest import make_dashboard, screen_lines
from tests.screens.fakes import Clock, FakeArchive, four_presses

SIZE = (80, 24)
NOW = NOON + 200 * DAY
TODAY = datetime.fromtimestamp(NOW, UTC).date()
UGLY = "Dry \x1b[31mFork [bold]Quarry[/bold]\x07"


class Place(NamedTuple):
    """An archive, its key, and the shop file it was made with."""

    path: Path
    key: Path
    bench: Bench


def _ticket(number: int, **changes: object) -> dict[str, object]:
    return {
        "number": f"J-{1000 + number}",
        "customer": "Long Draw Orchards" if number % 2 else "Upper Mesa Hay",
        "tire": "23.5R25 L3" if number % 2 else "18.4-38 R1",
        "section": "shoulder",
        "operator": "Ines",
        "bag": "B3",
        "mats": ["M1"],
        "materials": [{"use": "filler rubber", "lot": f"SG-220{number % 2}"}],
        **changes,
    }


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Place:
    """Eight short cures: 4 without a ticket, 6 with words that no terminal should be sent, 3 inspected, 2 came back."""
    bench = Bench(tmp_path_factory.mktemp("records"))
    with bench.open() as archive:
        for n in range(1, 9):
            told = None if n == 4 else _ticket(n, **({"customer": UGLY} if n == 6 else {}))
            setup = bench.setup(ticketed=told is not None, repair=told is not None)
            verdict = {1: "pass", 2: "pass", 3: "pass", 5: "review", 6: "fail"}.get(n)
            rows = warming(70 + 2 * n)
            bench.seal(archive, rows, setup=setup, ticket=told, started_utc=NOON + n * 10 * DAY, verdict=verdict)
        day = datetime.fromtimestamp(NOON + 40 * DAY, UTC).date()
        archive.append("inspection", inspection_body("sound", by="Wilma", day=day, note="rang true"), 3)
        archive.append("comeback", comeback_body("cure sponge", day=day, by="Tom"), 2)
    return Place(bench.path, bench.key, bench)


@pytest.fixture
def place(made: Place, tmp_path: Path) -> Place:
    """A copy to write into."""
    shutil.copy(made.path, tmp_path / "cures.sqlite")
    shutil.copytree(made.key.parent, tmp_path / "keys")
    return Place(tmp_path / "cures.sqlite", tmp_path / "keys" / made.key.name, made.bench)


def over(place: Place, *, loud: bool = False, shop: bool = True) -> Dashboard:
    """A dashboard over an archive, its clock 200 days after the first cure; by default no press is in trouble."""
    presses = four_presses()
    if not loud:
        for press in presses:
            press.snapshot = replace(press.snapshot, alarms=())
    app = make_dashboard(FakeArchive(presses, Clock(NOW)))
    app.archive, app._key = place.path, place.key
    if shop:
        app.shop = replace(app.shop, shop=place.bench.shop)
    return app


async def settled(app: Dashboard, pilot) -> str:
    """What stands on the screen once all that was begun is done."""
    deadline = time.monotonic() + 60.0
    while any(not worker.is_finished for worker in app.workers) and time.monotonic() < deadline:
        await pilot.pause(0.005)
    await pilot.pause()
    return "\n".join(screen_lines(app))


async def open_records(app: Dashboard, pilot) -> str:
    await pilot.press("r")
    assert isinstance(app.screen, RecordsScreen)
    return await settled(app, pilot)


async def type_in(pilot, text: str) -> None:
    names = {" ": "space", "-": "minus", ".": "full_stop", ",": "comma"}
    await pilot.press(*(names.get(c, c) for c in text))


def later(place: Place, number: int) -> list[tuple[str, dict[str, object]]]:
    with ArchiveReader(place.path) as reader:
        return [(entry.kind, entry.content) for entry in reader.record(number).later]


# -- looking --


@pytest.mark.parametrize("size", [(80, 24), (105, 36), (110, 36), (120, 36), (160, 48), (200, 50)])
async def test_a_comeback_is_said_in_words_at_every_width(made, size):
    app = over(made)
    async with app.run_test(size=size) as pilot:
        shown = await open_records(app, pilot)
        line = next(line for line in shown.splitlines() if line.split()[:1] == ["2"])
        assert "▲ came back" in line


async def test_the_newest_stands_first_and_the_preview_follows_the_cursor(made):
    app = over(made)
    async with app.run_test(size=SIZE) as pilot:
        shown = await open_records(app, pilot)
        assert "8 certificates" in shown
        assert "▲ came back 18.4-38 R1" in shown
        numbers = [int(line.split()[0]) for line in shown.splitlines()[4:12] if line.split()[0].isdigit()]
        assert numbers == sorted(numbers, reverse=True)
        assert "Certificate 8" in shown
        await pilot.press("down", "down")
        shown = await settled(app, pilot)
        assert "Certificate 6" in shown
        assert "▲ FAIL" in shown
        await pilot.press("down", "down")
        assert "No ticket: what was repaired" in await settled(app, pilot)
        await pilot.press("down")
        shown = await settled(app, pilot)
        assert "inspected" in shown
        assert "by Wilma, sound" in shown
        await pilot.press("home")
        assert "Certificate 8" in await settled(app, pilot)
        await pilot.press("end")
        assert "Certificate 1" in await settled(app, pilot)
        await pilot.press("escape")
        assert isinstance(app.screen, FloorScreen)


async def test_what_a_ticket_says_reaches_the_terminal_as_plain_letters(made):
    app = over(made)
    async with app.run_test(size=(160, 40)) as pilot:
        await open_records(app, pilot)
        await pilot.press("down", "down")
        shown = await settled(app, pilot)
        assert "Dry [31mFork [bold]Quarry[/bold]" in shown
        assert "\x1b" not in shown
        assert "\x07" not in shown


@pytest.mark.parametrize("size", [(200, 50), (60, 16), (40, 12)])
async def test_it_fits_every_size(made, size):
    app = over(made)
    async with app.run_test(size=size) as pilot:
        shown = await open_records(app, pilot)
        assert "review" in shown or "incomplete" in shown
        assert max(map(len, shown.splitlines())) <= size[0]
        if size[0] >= 60 and size[1] >= 20:
            assert "Certificate 8" in shown


async def test_the_mouse_moves_opens_and_turns_the_wheel(made):
    app = over(made)
    async with app.run_test(size=SIZE) as pilot:
        await open_records(app, pilot)
        table = app.screen.table
        await pilot.click(table, offset=(20, 3))
        assert app.screen.number_meant() == 6
        await pilot._post_mouse_events([events.MouseScrollDown], table, offset=(20, 3), button=0)
        await pilot.pause()
        assert app.screen.number_meant() == 3
        row = table.cursor - table.first + 1
        await pilot.click(table, offset=(20, row))
        assert isinstance(app.screen, CertificateScreen)
        assert "Certificate 3, the shop's copy" in await settled(app, pilot)


async def test_a_click_on_a_key_below_is_the_key(made):
    app = over(made)
    async with app.run_test(size=SIZE) as pilot:
        shown = await open_records(app, pilot)
        foot = shown.splitlines()[-1]
        await pilot.click(offset=(foot.index("filter"), SIZE[1] - 1))
        assert isinstance(app.screen, FilterDialog)


async def test_enter_opens_unless_an_alarm_waits_for_it(made):
    app = over(made)
    async with app.run_test(size=SIZE) as pilot:
        await open_records(app, pilot)
        await pilot.press("enter")
        assert isinstance(app.screen, CertificateScreen)
    app = over(made, loud=True)
    async with app.run_test(size=SIZE) as pilot:
        await open_records(app, pilot)
        app.source.monotonic.__self__.forward(2.0)
        await pilot.press("enter")
        assert isinstance(app.screen, RecordsScreen)
        assert any("acknowledge" in notice.words for notice in app.source.notices)
        await pilot.press("c")
        assert isinstance(app.screen, CertificateScreen)


async def test_a_digit_is_a_press_here_as_everywhere_but_not_while_searching(made):
    app = over(made)
    async with app.run_test(size=SIZE) as pilot:
        await open_records(app, pilot)
        await pilot.press("s", "3")
        assert isinstance(app.screen, RecordsScreen)
        await settled(app, pilot)
        await pilot.press("escape", "2")
        assert isinstance(app.screen, PressScreen)


# -- finding --


async def test_words_are_found_while_they_are_typed_and_x_shows_all_again(made):
    app = over(made)
    async with app.run_test(size=SIZE) as pilot:
        await open_records(app, pilot)
        await pilot.press("s")
        await type_in(pilot, "upper mesa")
        shown = await settled(app, pilot)
        assert "2 found" in shown
        await type_in(pilot, " nobody")
        shown = await settled(app, pilot)
        assert "Nothing is found." in shown
        assert "X shows all again" in shown
        await pilot.press("down", "x")
        assert "8 certificates" in await settled(app, pilot)
        assert app.screen.line.value == ""


async def test_a_number_brings_that_certificate_to_the_top(made):
    app = over(made)
    async with app.run_test(size=SIZE) as pilot:
        await open_records(app, pilot)
        await pilot.press("s", "5", "enter")
        assert "Certificate 5" in await settled(app, pilot)
        assert app.screen.table.cursor == 0


async def test_filters_narrow_it_and_a_wrong_one_is_named(made):
    app = over(made)
    async with app.run_test(size=(100, 40)) as pilot:
        await open_records(app, pilot)
        await pilot.press("f", "p", "enter")  # the first letter of "pass"
        shown = await settled(app, pilot)
        assert "3 found; pass" in shown or "2 found; pass" in shown
        await pilot.press("f")
        assert isinstance(app.screen, FilterDialog)
        await pilot.press("f9", "down", "down", "down")
        await type_in(pilot, "soon")
        await pilot.press("enter")
        shown = "\n".join(screen_lines(app))
        assert "From: wants a day such as 2031-05-04" in shown
        assert isinstance(app.screen, FilterDialog)
        for _ in range(4):
            await pilot.press("backspace")
        day = datetime.fromtimestamp(NOON + 65 * DAY, UTC).date()
        await type_in(pilot, str(day))
        await pilot.press("enter")
        assert f"2 found; since {day}" in await settled(app, pilot)
        await pilot.press("x")
        assert "8 certificates" in await settled(app, pilot)


# -- comparing --


async def test_cures_are_marked_and_compared_with_the_good_ones_like_them(made):
    app = over(made)
    async with app.run_test(size=(140, 40)) as pilot:
        await open_records(app, pilot)
        await pilot.press("m", "down", "m", "down")
        shown = await settled(app, pilot)
        assert "2 marked" in shown
        await pilot.press("o")
        assert isinstance(app.screen, OverlayScreen)
        shown = await settled(app, pilot)
        assert "inner mat °F" in shown
        assert "2 comparable good cures on record: the band says little" in shown
        assert "2 good cures like it" in shown
        assert "- - 8" in shown
        assert ". . 7" in shown
        assert "hold clock" in shown
        await pilot.press("down")
        assert "- - 7" in await settled(app, pilot)
        await pilot.press("left")
        assert "bag psi" in await settled(app, pilot)
        await pilot.press("u")
        assert "bag kPa" in await settled(app, pilot)
        await pilot.press("escape", "m")
        for _ in range(4):
            await pilot.press("down", "m")
        assert "which is all that can be told apart" in await settled(app, pilot)


async def test_a_narrow_screen_shows_curves_or_figures(made):
    app = over(made)
    async with app.run_test(size=SIZE) as pilot:
        await open_records(app, pilot)
        await pilot.press("o")
        assert "Figures" not in await settled(app, pilot)
        await pilot.press("f")
        shown = await settled(app, pilot)
        assert "this cure" in shown
        assert "good ones" in shown


# -- entering --


async def test_an_inspection_is_entered_and_stands_in_table_and_preview(place):
    app = over(place)
    async with app.run_test(size=(120, 36)) as pilot:
        await open_records(app, pilot)
        await pilot.press("i")
        assert isinstance(app.screen, InspectionDialog)
        await pilot.press("enter")
        assert "Looked at by: who has looked at it?" in "\n".join(screen_lines(app))
        await type_in(pilot, "Wilma")
        await pilot.press("up", "right", "down", "down")
        await type_in(pilot, str(TODAY + timedelta(days=1)))
        await pilot.press("enter")
        assert "is still to come" in "\n".join(screen_lines(app))
        assert later(place, 8) == []
        for _ in range(10):
            await pilot.press("backspace")
        await pilot.press("down")
        await type_in(pilot, "small blister")
        await pilot.press("enter")
        shown = await settled(app, pilot)
        assert "done: inspection of certificate 8: sound with remarks (ledger entry 11)" in shown
        assert "by Wilma, sound with" in shown
    ((kind, body),) = later(place, 8)
    assert kind == "inspection"
    assert (body["result"], body["by"], body["note"]) == ("sound with remarks", "Wilma", "small blister")
    assert body["day"] == str(TODAY)
    assert app.operator == "Wilma"


async def test_a_comeback_is_entered_and_the_audit_is_shown(place):
    app = over(place)
    async with app.run_test(size=(100, 40)) as pilot:
        await open_records(app, pilot)
        await pilot.press("end", "b")
        await settled(app, pilot)
        assert isinstance(app.screen, ComebackDialog)
        shown = "\n".join(screen_lines(app))
        assert "patch or filler let go of the casing" in shown
        await pilot.press("3", "enter")
        shown = await settled(app, pilot)
        assert isinstance(app.screen, SheetScreen)
        assert "Certificate 1 came back: moisture blow" in shown
        text = "\n".join(app.screen.view.lines)
        for part in ("JUDGED AGAIN", "BESIDE COMPARABLE GOOD CURES", "WHAT IT SHARED WITH OTHERS", "bag B3"):
            assert part in text
        await pilot.press("end")
        assert "A pattern is a question to ask" in " ".join((await settled(app, pilot)).split())
        await pilot.press("escape")
        shown = await settled(app, pilot)
        assert isinstance(app.screen, RecordsScreen)
        assert app.screen.number_meant() == 1
        assert "moisture blow" in shown
        await pilot.press("b")
        await settled(app, pilot)
        assert "It is entered as come back" in "\n".join(screen_lines(app))
    assert [(kind, body["cause"]) for kind, body in later(place, 1)] == [("comeback", "moisture blow")]


async def test_a_comeback_before_its_cure_is_refused_at_the_field(place):
    app = over(place)
    async with app.run_test(size=(100, 40)) as pilot:
        await open_records(app, pilot)
        await pilot.press("b")
        await settled(app, pilot)
        app.screen.when.put("2020-01-01")
        await pilot.press("enter")
        assert "it cannot have come back before its cure" in "\n".join(screen_lines(app))
    assert later(place, 8) == []


async def test_the_day_proposed_is_never_before_the_cure(place):
    app = over(place)
    app.source.now = lambda: NOON - DAY  # a demo's cures lie ahead of the computer's clock
    async with app.run_test(size=SIZE) as pilot:
        await open_records(app, pilot)
        await pilot.press("b")
        await settled(app, pilot)
        await pilot.press("enter")
        shown = await settled(app, pilot)
        assert [kind for kind, _ in later(place, 8)] == ["comeback"], shown


async def test_what_shared_a_lot_is_shown_with_rates_and_warnings(made):
    app = over(made)
    async with app.run_test(size=(100, 40)) as pilot:
        await open_records(app, pilot)
        await pilot.press("w")
        await settled(app, pilot)
        assert isinstance(app.screen, WhereUsedDialog)
        labels = [option.label for option in app.screen.choice.options]
        assert labels == ["bag B3", "lot SG-2200", "mat M1", "press P1", "another one"]
        await pilot.press("2", "enter")
        await settled(app, pilot)
        assert isinstance(app.screen, SheetScreen)
        text = "\n".join(app.screen.view.lines)
        for part in ("LOT SG-2200", "THE REPAIRS THAT NAME IT: 3", "95 %", "Counted are repairs watched live"):
            assert part in text
        await pilot.press("escape", "w")
        await settled(app, pilot)
        await pilot.press("tab", "tab")
        await type_in(pilot, "SG-2209")
        await pilot.press("enter")
        await settled(app, pilot)
        assert isinstance(app.screen, ToldDialog)
        assert "did you mean SG-220" in "\n".join(screen_lines(app))


async def test_a_ticket_is_corrected_with_a_reason_and_an_entry_withdrawn(place):
    app = over(place)
    async with app.run_test(size=(120, 36)) as pilot:
        await open_records(app, pilot)
        await pilot.press("e")
        await settled(app, pilot)
        assert isinstance(app.screen, CorrectionDialog)
        dialog = app.screen
        assert "Says now: Upper Mesa Hay" in "\n".join(screen_lines(app))
        await pilot.press("enter")
        assert "Why: what was wrong?" in "\n".join(screen_lines(app))
        await type_in(pilot, "misspelt")
        dialog.by.put("Ines")
        await pilot.press("enter")
        assert "Should say: it says that already" in "\n".join(screen_lines(app))
        await type_in(pilot, " Farm")
        await pilot.press("enter")
        shown = await settled(app, pilot)
        assert "corrected" in shown
        assert later(place, 8)[-1][1]["ticket"] == {"customer": "Upper Mesa Hay Farm"}
        # The lot of a material, in place.
        await pilot.press("e")
        await settled(app, pilot)
        app.screen.what.put("lot 0")
        app.screen._show()
        assert app.screen.fresh.value == "SG-2200"
        app.screen.fresh.put("SG-2207")
        app.screen.why.put("read again")
        await pilot.press("enter")
        await settled(app, pilot)
        assert later(place, 8)[-1][1]["ticket"]["materials"][0]["lot"] == "SG-2207"
        with ArchiveReader(place.path) as reader:
            assert ("lot", "SG-2207", "filler rubber") in reader.used(8)
            (inspected,) = reader.record(3).later
        await pilot.press("s", "3", "enter")
        await settled(app, pilot)
        await pilot.press("e")
        await settled(app, pilot)
        app.screen.what.put(f"entry {inspected.seq}")
        app.screen._show()
        assert not app.screen.fresh.display
        app.screen.why.put("meant certificate 5")
        await pilot.press("enter")
        assert "withdrawn: inspected" in await settled(app, pilot)
    assert later(place, 3)[-1][1]["withdraws"] == inspected.seq


async def test_a_wrong_tin_is_said_at_its_field(place):
    app = over(place)
    async with app.run_test(size=(120, 36)) as pilot:
        await open_records(app, pilot)
        await pilot.press("e")
        await settled(app, pilot)
        dialog = app.screen
        dialog.what.put("tin")
        dialog.fresh.put("1H4")
        dialog.why.put("was missing")
        dialog.by.put("Ines")
        await pilot.press("enter")
        assert isinstance(app.screen, CorrectionDialog)
        assert "Should say: " in "\n".join(screen_lines(app))
    assert later(place, 8) == []


async def test_a_ticket_is_attached_and_the_cure_judged_on_it(place):
    app = over(place)
    async with app.run_test(size=(120, 50)) as pilot:
        await open_records(app, pilot)
        await pilot.press("s", "4", "enter")
        await settled(app, pilot)
        await pilot.press("j")
        await settled(app, pilot)
        assert isinstance(app.screen, AttachDialog)
        dialog = app.screen
        await pilot.press("enter")
        assert "an empty ticket says nothing" in "\n".join(screen_lines(app))
        await type_in(pilot, "J-1004")
        fields = {row.name: row for row in dialog.entries}
        fields["tin"].put("1H4")
        await pilot.press("enter")
        assert "DOT / TIN: " in "\n".join(screen_lines(app))
        fields["number"].focus()
        await pilot.press("x")
        assert not dialog.problem.display
        wrong = fields["tin"].remark
        assert wrong is not None and wrong.tone is Tone.ALARM, "it stands beside its field while another is typed"
        await pilot.press("backspace")
        fields["tin"].put("")
        fields["materials.filler.lot"].put("SG-2201")
        fields["mats_overlap"].put("yes")
        dialog.by.put("Ines")
        await pilot.press("enter")
        shown = await settled(app, pilot)
        assert isinstance(app.screen, SheetScreen)
        assert "Certificate 4 on its ticket" in shown
    ((kind, body),) = later(place, 4)
    assert kind == "ticket-attached"
    assert body["ticket"]["number"] == "J-1004"
    assert body["ticket"]["materials"][0]["lot"] == "SG-2201"
    assert body["by"] == "Ines"


async def test_without_a_shop_file_no_ticket_can_be_attached(made):
    app = over(made, shop=False)
    async with app.run_test(size=(120, 36)) as pilot:
        await open_records(app, pilot)
        await pilot.press("j")
        assert "wants the shop file" in await settled(app, pilot)


async def test_a_record_is_verified_and_a_changed_one_found_out(place):
    app = over(place)
    async with app.run_test(size=(120, 36)) as pilot:
        await open_records(app, pilot)
        await pilot.press("v")
        assert "done: verify certificate 8 (as it was signed: its ledger entry and its readings" in await settled(
            app, pilot
        )
    tamper(place.path, lambda db: flip(db, "ledger", "signature", "certificate", 8, 9))
    app = over(place)
    async with app.run_test(size=(120, 36)) as pilot:
        await open_records(app, pilot)
        await pilot.press("v")
        shown = await settled(app, pilot)
        assert isinstance(app.screen, ToldDialog)
        assert "is not what was sealed" in shown
        await pilot.press("enter")
        app.screen.verify_all()
        await settled(app, pilot)
        assert isinstance(app.screen, SheetScreen)
        assert "7 of 8 certificates hold; not: 8" in "\n".join(app.screen.view.lines)


async def test_what_the_recorder_refuses_is_said_and_nothing_is_entered(place):
    app = over(place)
    place.key.unlink()
    async with app.run_test(size=(120, 36)) as pilot:
        await open_records(app, pilot)
        await pilot.press("i")
        app.screen.by.put("Wilma")
        await pilot.press("enter")
        shown = await settled(app, pilot)
        assert isinstance(app.screen, ToldDialog)
        assert "Not done: inspection of certificate 8" in shown
        await pilot.press("escape")
        assert "REFUSED: inspection of certificate 8" in "\n".join(screen_lines(app))
    assert later(place, 8) == []


async def test_while_the_recorder_holds_the_archive_it_is_asked_and_the_screen_says_sent(place):
    app = over(place)
    with Archive.open(place.path, key_path=place.key, holder="recorder", clock=lambda: NOW) as recorder:
        async with app.run_test(size=(120, 36)) as pilot:
            await open_records(app, pilot)
            await pilot.press("i")
            app.screen.by.put("Wilma")
            await pilot.press("enter")
            await pilot.pause()
            assert "sent: inspection of certificate 8: sound" in "\n".join(screen_lines(app))
            from press_monitor.archive.requests import carry_out

            while not (waiting := recorder.waiting_commands()):
                await pilot.pause()
            carry_out(recorder, waiting[0])
            assert "done: inspection of certificate 8: sound (ledger entry 11)" in await settled(app, pilot)
    assert [kind for kind, _ in later(place, 8)] == ["inspection"]


async def test_what_others_enter_appears_by_itself(place):
    app = over(place)
    async with app.run_test(size=(140, 36)) as pilot:
        await open_records(app, pilot)
        await pilot.press("down")
        await settled(app, pilot)
        with Archive.open(place.path, key_path=place.key, clock=lambda: NOW) as archive:
            archive.append("inspection", inspection_body("rejected", by="Wilma", day=TODAY), 7)
        app.source.monotonic.__self__.forward(3.0)
        app.screen.renew()
        shown = await settled(app, pilot)
        assert "by Wilma, rejected" in shown
        assert app.screen.number_meant() == 7


# -- the palette, help, nothing there --


async def test_the_palette_has_everything_the_keys_have(made):
    app = over(made)
    async with app.run_test(size=(140, 40)) as pilot:
        await open_records(app, pilot)
        offered = {c.title: c.callback for c in app.get_system_commands(app.screen)}
        for words, opens in (
            ("Filter the records", FilterDialog),
            ("Certificate 8: open", CertificateScreen),
            ("Certificate 8: compare curves", OverlayScreen),
            ("Certificate 8: inspection", InspectionDialog),
            ("Certificate 8: it came back", ComebackDialog),
            ("Certificate 8: where used", WhereUsedDialog),
            ("Certificate 8: correct", CorrectionDialog),
            ("Certificate 8: attach a ticket", AttachDialog),
            ("Stores", StoresScreen),
        ):
            offered[words]()
            await settled(app, pilot)
            assert isinstance(app.screen, opens), words
            app.pop_screen()
            await pilot.pause()
        offered["Certificate 8: mark"]()
        assert app.screen.marked
        offered["Certificate 8: verify"]()
        assert "done: verify certificate 8" in await settled(app, pilot)
        offered["Search the records"]()
        await pilot.pause()
        assert app.focused is app.screen.line


async def test_a_certificate_offers_the_same(place):
    app = over(place)
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.press("c")
        await settled(app, pilot)
        await pilot.press("i")
        assert isinstance(app.screen, InspectionDialog)
        app.screen.by.put("Wilma")
        await pilot.press("enter")
        await settled(app, pilot)
        assert isinstance(app.screen, CertificateScreen)
        assert "By: Wilma" in "\n".join(app.screen.view.lines)
        titles = [command.title for command in app.get_system_commands(app.screen)]
        assert "Save as a web page" in titles
        assert "Certificate 8: it came back" in titles


async def test_help_explains_it_in_the_trades_words(made):
    app = over(made)
    async with app.run_test(size=(100, 40)) as pilot:
        await open_records(app, pilot)
        await pilot.press("question_mark")
        shown = "\n".join(screen_lines(app))
        assert "Records: what you see" in shown
        assert "mark for comparing" in shown


async def test_an_empty_archive_says_what_to_do_next(tmp_path, made):
    Archive.open(tmp_path / "new.sqlite", key_path=tmp_path / "ledger.key").close()
    app = over(Place(tmp_path / "new.sqlite", tmp_path / "ledger.key", made.bench))
    async with app.run_test(size=SIZE) as pilot:
        shown = await open_records(app, pilot)
        assert "No certificate yet." in shown
        assert "sealed as one when its press is released" in shown
        await pilot.press("i", "b", "c", "m", "o", "v", "e", "enter", "down", "end")
        await settled(app, pilot)
        assert isinstance(app.screen, RecordsScreen)


async def test_an_archive_that_is_not_there_is_said(tmp_path, made):
    app = over(Place(tmp_path / "none.sqlite", tmp_path / "ledger.key", made.bench))
    async with app.run_test(size=SIZE) as pilot:
        assert "The archive cannot be read." in await open_records(app, pilot)


async def test_a_dashboard_without_an_archive_has_no_records():
    app = make_dashboard(FakeArchive(four_presses(), Clock()))
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("r", "s")
        assert isinstance(app.screen, FloorScreen)
        titles = [command.title for command in app.get_system_commands(app.screen)]
        assert "Records" not in titles
        assert "Stores" not in titles


# -- many --


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory, made: Place) -> Place:
    folder = tmp_path_factory.mktemp("many")
    make_archive(folder / "many.sqlite", 430)
    return Place(folder / "many.sqlite", folder / "many.sqlite.key", made.bench)


async def test_pages_are_read_as_they_come_into_sight_and_none_is_left_out(many):
    app = over(many)
    async with app.run_test(size=SIZE) as pilot:
        shown = await open_records(app, pilot)
        assert "430 certificates" in shown
        screen = app.screen
        assert len(screen.pages) == 100
        seen = [screen.number_meant()]
        for _ in range(450):
            screen.action_move(1)
            if screen.table.cursor == len(screen.pages) - 1 and not screen.pages.ended:
                await settled(app, pilot)
            if screen.number_meant() != seen[-1]:
                seen.append(screen.number_meant())
        assert seen == list(range(430, 0, -1))
        await settled(app, pilot)
        assert "Certificate 1 " in "\n".join(screen_lines(app))


async def test_no_more_than_a_few_pages_are_held_and_each_can_be_read_again(many):
    from press_monitor.screens.records import search

    with ArchiveReader(many.path) as reader:
        pages = search.first_pages(reader, search.Search(), None)
        while (chunk := pages.missing(0, len(pages) + 1)) is not None or not pages.ended:
            pages.put(chunk, pages.fetch(reader, chunk))
        assert [pages.row(n).number for n in range(len(pages))] == list(range(430, 0, -1))
        held = {n: pages._chunks[n] for n in pages._chunks}
        pages.doubt()
        for n in sorted(held, reverse=True):
            assert pages.fetch(reader, n) == held[n]
