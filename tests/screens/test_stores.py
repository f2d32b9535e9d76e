"""The stores screen over a real archive: what must not be used, and every entry by key and palette."""

from __future__ import annotations

import shutil
from datetime import date, timedelta
from pathlib import Path

import pytest

from press_monitor.archive import Archive, ArchiveReader
from press_monitor.archive.entries import calibration_body, stores_body
from press_monitor.archive.stores import StoreItem, Stores, folded
from press_monitor.screens.dialogs.calibrate import CalibrateDialog
from press_monitor.screens.dialogs.item import ItemDialog
from press_monitor.screens.dialogs.retire import RetireDialog
from press_monitor.screens.records.sheet import SheetScreen
from press_monitor.screens.stores.screen import StoresScreen
from press_monitor.screens.stores.shelf import shelf_of
from press_monitor.screens.widgets.palette import Tone
from tests.audit.cures import DAY, Bench, warming
from tests.screens.conftest import screen_lines
from tests.screens.test_records import NOON, NOW, SIZE, TODAY, Place, _ticket, over, settled, type_in


def _on(days: int) -> str:
    return str(TODAY + timedelta(days=days))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Place:
    bench = Bench(tmp_path_factory.mktemp("stores"))
    with bench.open() as archive:
        bench.seal(archive, warming(20), ticket=_ticket(1, probes=["K-17"]), started_utc=NOON + DAY)
        for kind, name, said in (
            ("lot", "SG-2201", {"product": "filler [b]rubber[/b]", "expires": _on(-3), "compound": "section-gum"}),
            ("lot", "SG-2207", {"product": "filler rubber", "expires": _on(12)}),
            ("bag", "B3", {"life_cures": 200, "cures_before": 40}),
            ("mat", "M2", {"retired": _on(-9), "retired_why": "blistered"}),
        ):
            archive.append("stores", stores_body(kind, name, said, by="Ines"))
        facts = {"done": _on(-400), "due": _on(-35), "reference": "dry block DB-2", "offset": 1.2, "unit": "degF"}
        archive.append("calibration", calibration_body(probe="K-17", facts=facts))
    return Place(bench.path, bench.key, bench)


@pytest.fixture
def place(made: Place, tmp_path: Path) -> Place:
    shutil.copy(made.path, tmp_path / "cures.sqlite")
    shutil.copytree(made.key.parent, tmp_path / "keys")
    return Place(tmp_path / "cures.sqlite", tmp_path / "keys" / made.key.name, made.bench)


def item_of(place: Place, kind: str, name: str) -> StoreItem:
    with ArchiveReader(place.path) as reader:
        found = reader.stores().get(kind, name)
    assert found is not None
    return found


async def open_stores(app, pilot) -> str:
    await pilot.press("s")
    assert isinstance(app.screen, StoresScreen)
    return await settled(app, pilot)


def test_the_shelf_says_why_and_when_and_puts_trouble_first():
    today = date(2031, 5, 4)
    items = (
        StoreItem("lot", "late", expires=date(2031, 5, 3)),
        StoreItem("lot", "last day", expires=today),
        StoreItem("lot", "good", expires=date(2032, 1, 1)),
        StoreItem("bag", "worn", life_cures=3, cures=3),
        StoreItem("bag", "near", life_cures=10, cures_before=9),
        StoreItem("mat", "out", retired=date(2031, 4, 1), retired_why="torn"),
        StoreItem("probe", "due", calibration_due=date(2031, 4, 29)),
        StoreItem("mat", "unknown", known=False, cures=2),
    )
    stores = Stores({(item.kind, folded(item.name)): item for item in items})
    rows = {row.name: row for row in shelf_of(stores, {}, today)}
    assert [r.name for r in rows.values()] == ["late", "worn", "due", "last day", "near", "good", "out", "unknown"]
    said = {name: row.words for name, row in rows.items()}
    assert said == {
        "late": "expired on 2031-05-03, yesterday",
        "worn": "has done 3 cures of 3",
        "due": "its calibration was due on 2031-04-29, 5 days ago",
        "last day": "expires 2031-05-04: today is the last day",
        "near": "1 cure left",
        "good": "",
        "out": "is out of use since 2031-04-01 (torn)",
        "unknown": "on tickets, not in Stores: nothing is known of it",
    }
    tones = (Tone.ALARM, Tone.ALARM, Tone.ALARM, Tone.ATTENTION, Tone.ATTENTION, Tone.FINE, Tone.IDLE, Tone.IDLE)
    assert tuple(row.tone for row in rows.values()) == tones
    assert {r.name for r in shelf_of(stores, {}, today, "trouble")} == {"late", "worn", "due", "last day", "near"}
    # The screen says of an item what its own judgement says, in every case.
    for row in rows.values():
        assert (row.tone is Tone.ALARM or row.name == "out") is (row.item.trouble(today) is not None)


@pytest.mark.parametrize("size", [SIZE, (200, 50)])
async def test_trouble_stands_first_and_the_item_says_all_that_is_known(made, size):
    app = over(made)
    async with app.run_test(size=size) as pilot:
        shown = await open_stores(app, pilot)
        first = shown.splitlines()[4]
        assert "lot SG-2201" in first
        assert "[b]rubber[/" in shown
        assert f"expired on {_on(-3)}" in first
        assert "look at these 4" in shown
        overdue = f"its calibration was due on {_on(-35)}" if size != SIZE else "calibration overdue"
        assert next(line for line in shown.splitlines() if "probe K-17" in line).rstrip().endswith(overdue) or (
            f"{overdue}, 35 days ago" in shown
        )
        await pilot.press("down")
        shown = await settled(app, pilot)
        assert "probe K-17" in shown
        assert "dry block DB-2" in shown
        assert "off by 1.2" in shown
        await pilot.press("right")
        assert "[look at these 4]" in await settled(app, pilot)
        await pilot.press("left", "left")
        shown = await settled(app, pilot)
        assert "[compounds 1]" in shown
        assert "tc90" in shown
        await pilot.press("e", "o", "c")
        assert isinstance(app.screen, StoresScreen)
        await pilot.click(app.screen.strip, offset=(38, 0))
        assert app.screen.group != "compound"


async def test_a_new_lot_is_entered_with_the_same_checks_as_the_command(place):
    app = over(place)
    async with app.run_test(size=(100, 36)) as pilot:
        await open_stores(app, pilot)
        await pilot.press("n")
        assert isinstance(app.screen, ItemDialog)
        dialog = app.screen
        await pilot.press("enter")
        assert "Name: what is written on it?" in "\n".join(screen_lines(app))
        await type_in(pilot, "sg-2207")
        await pilot.press("enter")
        assert "is in Stores already" in "\n".join(screen_lines(app))
        dialog.named.put("CE-9")
        dialog.entries["expires"].put("soon")
        await pilot.press("enter")
        assert "Good until: wants a day such as" in "\n".join(screen_lines(app))
        dialog.entries["expires"].put(_on(90))
        dialog.entries["dry_time_s"].put("ages")
        await pilot.press("enter")
        assert "Dry time: " in "\n".join(screen_lines(app))
        dialog.entries["dry_time_s"].put("45")
        dialog.compound.put("section-gum")
        dialog.by.put("Ines")
        await pilot.press("enter")
        shown = await settled(app, pilot)
        assert "done: lot CE-9" in shown
        assert "lot CE-9" in shown
    item = item_of(place, "lot", "CE-9")
    assert (item.dry_time_s, item.compound, str(item.expires)) == (2700.0, "section-gum", _on(90))


async def test_only_what_is_changed_is_entered(place):
    app = over(place)
    async with app.run_test(size=(100, 36)) as pilot:
        await open_stores(app, pilot)
        app.screen.show_group("bag")
        await pilot.press("e")
        dialog = app.screen
        await pilot.press("enter")
        assert "nothing was changed" in "\n".join(screen_lines(app))
        dialog.entries["life_cures"].put("many")
        await pilot.press("enter")
        assert "Life: wants a number of cures" in "\n".join(screen_lines(app))
        dialog.entries["life_cures"].put("")
        dialog.entries["cures_before"].put("55")
        await pilot.press("enter")
        await settled(app, pilot)
    item = item_of(place, "bag", "B3")
    assert (item.life_cures, item.cures_before) == (None, 55)
    with ArchiveReader(place.path) as reader:
        assert reader.head().content["item"] == {"kind": "bag", "name": "B3", "life_cures": None, "cures_before": 55}


async def test_a_mat_goes_out_of_use_and_comes_back(place):
    app = over(place)
    async with app.run_test(size=(120, 36)) as pilot:
        await open_stores(app, pilot)
        app.screen.show_group("mat")
        await settled(app, pilot)
        names = [row.name for row in app.screen.table.rows]
        app.screen.go(names.index("M2"))
        assert "O back into use" in "\n".join(screen_lines(app)) or await settled(app, pilot)
        await pilot.press("o")
        assert isinstance(app.screen, RetireDialog)
        assert "blistered" in "\n".join(screen_lines(app))
        await pilot.press("enter")
        assert "Why: what was put right?" in "\n".join(screen_lines(app))
        await type_in(pilot, "new lead")
        await pilot.press("enter")
        await settled(app, pilot)
        assert item_of(place, "mat", "M2").retired is None
        await pilot.press("o")
        await type_in(pilot, "torn")
        await pilot.press("enter")
        shown = await settled(app, pilot)
        assert "done: mat M2 out of use" in shown
    item = item_of(place, "mat", "M2")
    assert (item.retired, item.retired_why) == (TODAY, "torn")


async def test_a_calibration_is_entered(place):
    app = over(place)
    async with app.run_test(size=(100, 36)) as pilot:
        await open_stores(app, pilot)
        await pilot.press("c")
        assert "a probe must be chosen" in "\n".join(screen_lines(app))
        app.screen.show_group("probe")
        await pilot.press("c")
        dialog = app.screen
        assert isinstance(dialog, CalibrateDialog)
        dialog.due.put(_on(-1))
        await pilot.press("enter")
        assert "is before the day it was done" in "\n".join(screen_lines(app))
        dialog.due.put(_on(365))
        dialog.off_by.put("1,5")
        dialog.reference.put("ice water")
        await pilot.press("enter")
        await settled(app, pilot)
    item = item_of(place, "probe", "K-17")
    assert (item.calibrated, str(item.calibration_due), item.calibration_reference) == (TODAY, _on(365), "ice water")


async def test_the_palette_offers_it_all_and_where_used_opens(made):
    app = over(made)
    async with app.run_test(size=(100, 36)) as pilot:
        await open_stores(app, pilot)
        offered = {c.title: c.callback for c in app.get_system_commands(app.screen)}
        assert {"Stores: enter a new one", "Stores: probes", "lot SG-2201: correct", "lot SG-2201: out of use"} <= set(
            offered
        )
        offered["lot SG-2201: where used"]()
        await settled(app, pilot)
        assert isinstance(app.screen, SheetScreen)
        assert "LOT SG-2201" in "\n".join(app.screen.view.lines)


async def test_empty_stores_say_what_to_do_next(tmp_path, made):
    Archive.open(tmp_path / "new.sqlite", key_path=tmp_path / "ledger.key", clock=lambda: NOW).close()
    app = over(Place(tmp_path / "new.sqlite", tmp_path / "ledger.key", made.bench), shop=False)
    async with app.run_test(size=SIZE) as pilot:
        shown = await open_stores(app, pilot)
        assert "Nothing is in Stores yet." in shown
        assert "N enters a lot" in shown
        await pilot.press("e", "o", "c", "w", "down", "right")
        await settled(app, pilot)
        assert isinstance(app.screen, StoresScreen)
