"""The alarms screen, the shop-wide alarm and the horn, by key, mouse and palette."""

from __future__ import annotations

from dataclasses import replace

import pytest

from press_monitor.screens.dialogs.shelve import ShelveDialog
from press_monitor.screens.reading import worst_first
from press_monitor.watch.plain import to_json
from press_monitor.watch.types import AlarmState, Priority
from tests.screens.conftest import make_dashboard, screen_lines
from tests.screens.fakes import FakePress, alarm, four_presses, rows, shop_of, snapshot
from tests.screens.test_press import ask, block

SIZE = (80, 24)


def falling(count: int = 3) -> list[FakePress]:
    """Presses whose mats all went cold within seconds."""
    made = []
    for n in range(4):
        t = 1800.0 + 60 * n
        gone = alarm("heat-lost", t - 240 + n, t - 170, "Outer mat falling.", "Check the lead.")
        shot = snapshot(t, four_presses()[0].snapshot.phase, alarms=(gone,) if n < count else ())
        made.append(FakePress(f"P{n + 1}", f"Bay {n + 1}", shot, rows(t / 60, seed=n)))
    return made


async def test_enter_acknowledges_the_chosen_one_not_the_one_on_top(archive, dashboard):
    shot = archive.presses[2].snapshot
    archive.presses[2].snapshot = replace(shot, alarms=(replace(shot.alarms[0], state=AlarmState.UNACKNOWLEDGED),))
    async with dashboard.run_test(size=SIZE) as pilot:
        await pilot.press("a")
        rows_shown = dashboard.screen.list.rows
        third = next(n for n, row in enumerate(rows_shown) if row.raised.view.number == 3)
        await pilot.press(*["down"] * third, "enter")
        (sent,) = archive.sent
        assert (sent.kind, sent.press, sent.alarm_id, sent.operator) == ("acknowledge", "P3", "heat-lost-1", "")


async def test_a_click_chooses_and_the_footers_words_act(archive, dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        await pilot.press("a")
        await pilot.click("AlarmList", offset=(10, 3))
        await pilot.pause()
        assert "▌   ▲ follows" in block(dashboard)
        spots = {action: x for x, _, action in dashboard.screen.foot._spots}
        await pilot.click("Footline", offset=(spots["acknowledge_chosen"] + 1, 1))
        await pilot.pause()
        assert [c.alarm_id for c in archive.sent] == ["pressure-lost-uncured-1"]


@pytest.mark.parametrize("width", range(60, 121, 3))
async def test_no_figure_is_cut_in_the_list(width):
    app = make_dashboard(shop_of(falling()))
    async with app.run_test(size=(width, 24)) as pilot:
        await pilot.press("a")
        await pilot.pause()
        for line in screen_lines(app)[2:-2]:
            assert "since" not in line or "(" not in line or " min)" in line, line


async def test_the_gravest_stands_on_top_though_another_came_later(archive, dashboard):
    late = alarm("mat-weak", 3000.0, 3100.0, "weak", "look", priority=Priority.MEDIUM)
    archive.presses[0].snapshot = replace(archive.presses[0].snapshot, alarms=(late,))
    async with dashboard.run_test(size=SIZE) as pilot:
        await pilot.press("a")
        kinds = [row.raised.alarm.kind for row in dashboard.screen.list.rows]
        assert kinds == ["bag-low", "pressure-lost-uncured", "mat-weak", "heat-lost"]
        assert dashboard.screen.list.chosen.raised.alarm.kind == "bag-low", "and is the one that the bar names"


async def test_the_chosen_alarm_stays_chosen_when_others_come(archive, dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        await pilot.press("a", "down", "down")
        assert dashboard.screen.list.chosen.raised.view.number == 3
        fresh = alarm("mat-weak", 3000.0, 3100.0, "weak", "look", priority=Priority.MEDIUM)
        archive.change("P1", alarms=(fresh,))
        dashboard.look()
        await pilot.pause()
        assert dashboard.screen.list.chosen.raised.view.number == 3
        assert len(dashboard.screen.list.rows) == 4


async def test_shelving_wants_a_reason_and_a_name_and_has_an_end(archive, dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        await pilot.press("a", "s")
        assert isinstance(dashboard.screen, ShelveDialog)
        await pilot.press("3", "enter")
        assert "Shelving wants a reason and a name." in block(dashboard)
        assert archive.sent == []
        await pilot.press(*"lead", "down", *"Ines", "enter")
        (sent,) = archive.sent
        assert (sent.kind, sent.alarm_id, sent.operator) == ("shelve", "bag-low-1", "Ines")
        assert sent.args == {"seconds": 1200.0, "note": "lead"}


async def test_one_on_the_shelf_comes_off_it_and_a_kept_one_is_reset(archive, dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        shot = archive.presses[1].snapshot
        archive.change("P2", alarms=(replace(shot.alarms[0], state=AlarmState.SHELVED),))
        kept = replace(archive.presses[2].snapshot.alarms[0], state=AlarmState.LATCHED_ACKNOWLEDGED, cleared_s=2500.0)
        archive.change("P3", alarms=(kept,))
        dashboard.look()
        await pilot.press("a")
        for row in dashboard.screen.list.rows:
            await pilot.press("s" if row.raised.alarm.state is AlarmState.SHELVED else "r", "down")
        assert [(c.kind, c.press) for c in archive.sent] == [("unshelve", "P2"), ("reset", "P3")]
        assert "shelved" in block(dashboard)
        assert "kept until reset" in block(dashboard)


async def test_a_high_one_nobody_answers_says_so_after_three_minutes(archive, dashboard):
    async with dashboard.run_test(size=SIZE) as pilot:
        assert "NOBODY ANSWERED" not in block(dashboard)
        shot = archive.presses[1].snapshot
        archive.presses[1].snapshot = replace(shot, t=shot.t + 120)
        archive.change("P2")
        dashboard.look()
        await pilot.pause()
        assert "NOBODY ANSWERED FOR 3 MIN." in screen_lines(dashboard)[1]
        await pilot.press("a")
        assert "NOT ANSWERED 3 min" in block(dashboard)


@pytest.mark.parametrize("size", [(80, 24), (120, 36), (44, 14)])
async def test_presses_that_fall_together_are_one_line_on_top_everywhere(size):
    archive = shop_of(falling())
    app = make_dashboard(archive)
    async with app.run_test(size=size) as pilot:
        for key in ("1", "escape", "a"):
            assert "PRESSES 1 2 3  HEAT LOST IN THE SHOP" in screen_lines(app)[0]
            assert "Keep every bag up" in screen_lines(app)[1]
            assert "more [A]" not in screen_lines(app)[1]
            await pilot.press(key)


async def test_enter_acknowledges_every_member_of_a_shop_alarm():
    archive = shop_of(falling())
    app = make_dashboard(archive)
    async with app.run_test(size=SIZE) as pilot:
        archive.clock.forward(1.0)
        await pilot.press("enter")
        assert [(c.kind, c.press) for c in archive.sent] == [("acknowledge", f"P{n}") for n in (1, 2, 3)]
        await ask(pilot, "acknowledge")
        assert len(archive.sent) == 6


async def test_the_members_hang_under_the_shop_alarm_which_is_not_shelved():
    app = make_dashboard(shop_of(falling()))
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("a")
        assert [row.depth for row in app.screen.list.rows] == [0, 1, 1, 1]
        await pilot.press("s")
        assert "REFUSED: shelve (what the whole shop shares is not shelved" in block(app)
        await pilot.press("down", "s")
        assert isinstance(app.screen, ShelveDialog)


async def test_a_shop_alarm_holds_together_until_it_is_acknowledged():
    presses = falling()
    for press in presses[:3]:
        over = replace(
            press.snapshot.alarms[0], state=AlarmState.RETURNED_UNACKNOWLEDGED, cleared_s=press.snapshot.t - 5
        )
        press.snapshot = replace(press.snapshot, alarms=(over,))
    app = make_dashboard(shop_of(presses))
    async with app.run_test(size=(100, 24)):
        assert "PRESSES 1 2 3" in screen_lines(app)[0]
        assert "over now" in screen_lines(app)[0]
        (only,) = worst_first(app.source.presses)
        assert not only.alarm.standing


async def test_two_presses_of_four_stay_two_alarms():
    app = make_dashboard(shop_of(falling(2)))
    async with app.run_test(size=SIZE):
        assert "PRESS 1  HEAT LOST" in screen_lines(app)[0]
        assert "+1 more [A]" in screen_lines(app)[1]


@pytest.mark.parametrize("way", ["key", "palette"])
async def test_the_horn_is_silenced(archive, dashboard, way):
    async with dashboard.run_test(size=SIZE) as pilot:
        if way == "key":
            await pilot.press("k")
        else:
            await ask(pilot, "silence")
        (sent,) = archive.sent
        assert (sent.kind, sent.press) == ("silence-horn", None)


async def test_the_recorders_own_alarms_are_shown_and_answered(archive, monkeypatch):
    own = alarm("clock-step", 100.0, 100.0, "The clock was set on by 90 s.", "Nothing.", priority=Priority.LOW)
    about = {"alarms": [to_json(own)], "alarms_zero_utc": archive.clock.utc - 160.0}
    real = archive.press_states

    def states(known=None):
        return {n: replace(s, snapshot={**s.snapshot, "recorder": about}) for n, s in real().items()}

    monkeypatch.setattr(archive, "press_states", states)
    app = make_dashboard(archive)
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("a")
        assert "RECORDER  CLOCK STEPPED  since 15:10 (1 min)" in block(app)
        at = next(n for n, row in enumerate(app.screen.list.rows) if not row.raised.view.number)
        await pilot.press(*["down"] * at, "enter")
        (sent,) = archive.sent
        assert (sent.kind, sent.press, sent.alarm_id) == ("acknowledge", None, "clock-step-1")


async def test_what_a_recorder_says_beside_its_archive_is_heard(archive, monkeypatch):
    app = make_dashboard(archive)
    monkeypatch.setattr(app.source, "_distress", lambda now: {"since_utc": now - 60, "why": "disk full", "utc": now})
    async with app.run_test(size=(100, 24)):
        app.look()
        assert "RECORD FAILING  disk full  since 15:10" in screen_lines(app)[0]


async def test_a_recorder_whose_archive_takes_nothing_is_not_taken_for_a_dead_one(archive, monkeypatch):
    app, since = make_dashboard(archive), archive.clock.utc
    said = {"since_utc": since, "why": "disk full", "utc": since}
    monkeypatch.setattr(app.source, "_distress", lambda now: said)
    async with app.run_test(size=(120, 30)) as pilot:
        # Its heartbeat cannot be written either.
        archive.clock.forward(8.0)
        app.look()
        app.look()
        await pilot.pause()
        lines = screen_lines(app)
        assert "RECORD FAILING  disk full" in lines[0] and "RECORDER SILENT" not in "".join(lines)
        assert "old, look at the presses" in lines[1] and "NOT HEARD" in lines[2]
        said.clear()
        archive.clock.forward(1.0)
        app.look()
        app.look()
        await pilot.pause()
        assert "RECORDER SILENT" in screen_lines(app)[0]


async def test_the_palette_shelves_takes_off_the_shelf_and_resets_from_any_screen(archive, dashboard):
    low, dead = archive.presses[1].snapshot.alarms[0], archive.presses[2].snapshot.alarms[0]
    archive.change("P3", alarms=(replace(dead, state=AlarmState.SHELVED),))
    async with dashboard.run_test(size=SIZE) as pilot:
        await ask(pilot, "shelve bag low")
        assert isinstance(dashboard.screen, ShelveDialog)
        assert dashboard.screen.raised.alarm.id == low.id
        await pilot.press("escape")
        await ask(pilot, "off the shelf")
        assert (archive.sent[-1].kind, archive.sent[-1].press) == ("unshelve", "P3")
        archive.change("P3", alarms=(replace(dead, state=AlarmState.LATCHED_ACKNOWLEDGED, cleared_s=2500.0),))
        dashboard.look()
        await ask(pilot, "reset")
        assert (archive.sent[-1].kind, archive.sent[-1].press, archive.sent[-1].alarm_id) == ("reset", "P3", dead.id)
