"""The source over a real archive file: what the recorder's side writes is what the screens see."""

from dataclasses import replace

import pytest

from press_monitor.archive import Archive, CycleStart
from press_monitor.archive.types import JsonText
from press_monitor.readings.types import Role
from press_monitor.recorder.states import States
from press_monitor.screens.source import Place, Source
from press_monitor.watch.plain import to_json
from press_monitor.watch.types import Phase
from tests.screens.conftest import make_dashboard, screen_lines
from tests.screens.fakes import CHANNELS, NOW, degC, four_presses, shop_of, snapshot

CYCLE = "0123456789abcdef0123456789abcdef"


@pytest.fixture
def path(tmp_path):
    return tmp_path / "shop.sqlite"


@pytest.fixture
def writer(path, tmp_path):
    with Archive.open(path, key_path=tmp_path / "key") as archive:
        yield archive


def begin(writer, press):
    shot = press.snapshot
    start = CycleStart(CYCLE, "P1", NOW - shot.t, "live", {}, None, {"number": "0418"}, CHANNELS, 1, {})
    with writer.transaction():
        writer.begin_cycle(start)
        writer.add_rows(CYCLE, press.rows[:-5])
        writer.add_events(CYCLE, [(e.t, e.utc, e.kind, e.event) for e in press.events])
        writer.put_state("P1", CYCLE, NOW, {**to_json(shot), "recorder": {"horn": "none"}})
        writer.beat(NOW)


def test_a_dashboard_waits_for_an_archive_then_follows_it(path, tmp_path):
    press = four_presses()[0]
    source = Source.at(path, [Place("P1", "North")])
    source.poll()
    assert source.trouble
    with Archive.open(path, key_path=tmp_path / "key") as writer:
        begin(writer, press)
        assert source.poll()
        assert source.trouble == ""
        view = source.presses[0]
        assert view.snapshot == press.snapshot
        assert view.about == {"horn": "none"}
        assert view.ticket == {"number": "0418"}
        assert len(view.trace) == len(press.rows) - 5
        assert [e.kind for e in source.events(view)] == ["phase"] * 3
        with writer.transaction():
            writer.add_rows(CYCLE, press.rows[-5:])
            writer.put_state("P1", CYCLE, NOW + 1, to_json(replace(press.snapshot, t=press.snapshot.t + 1)))
        assert source.poll()
        trace = source.presses[0].trace
        assert len(trace) == len(press.rows)
        assert trace.column(Role.OUTER_MAT)[-1] == pytest.approx(degC(press.rows[-1][2][1] / 10))
    source.close()


def test_a_state_kept_in_two_parts_is_followed_and_what_stands_is_not_made_again(path, writer):
    press, states = four_presses()[0], States()
    begin(writer, press)
    source = Source.at(path, [Place("P1", "North")])
    source.poll()
    seen, shot = [], press.snapshot
    for second in range(1, 4):
        stacks = shot.stacks if second < 3 else (replace(shot.stacks[0], deepest_mm=1.0), *shot.stacks[1:])
        shot = replace(shot, t=shot.t + 1, bag_Pa=2e5 + second, stacks=stacks)
        writer.put_state("P1", CYCLE, NOW + second, *states.texts(shot, {"horn": "none"}, {"anchor": second}))
        assert source.poll()
        view = source.presses[0]
        assert (view.snapshot, view.about) == (shot, {"horn": "none", "anchor": second})
        seen.append(view.snapshot)
    assert seen[1].stacks is seen[0].stacks and seen[2].stacks is not seen[1].stacks
    writer.put_state("P1", CYCLE, NOW + 9, JsonText('{"t": "x"}'), JsonText('{"phase": "no such"}'))
    source.poll()
    assert "another version" in source.trouble and source.presses[0].snapshot == shot
    writer.put_state("P1", CYCLE, NOW + 10, *states.texts(press.snapshot, {}, {}))
    source.poll()
    assert not source.trouble and source.presses[0].snapshot == press.snapshot
    source.close()


def test_a_command_reaches_the_recorder_and_its_answer_comes_back(path, writer):
    press = four_presses()[0]
    begin(writer, press)
    source = Source.at(path, [Place("P1", "North")])
    source.poll()
    source.send("heat-off", source.presses[0], "heat off", operator="Kim")
    (command,) = writer.waiting_commands()
    assert (command.kind, command.press, command.cycle_id, command.operator) == ("heat-off", "P1", CYCLE, "Kim")
    with writer.transaction():
        writer.answer(command.uuid, "refused", "the heat is on")
    assert source.poll()
    assert (source.notices[-1].state, source.notices[-1].text) == ("refused", "the heat is on")
    source.close()


def test_a_damaged_archive_is_trouble_in_words_not_an_end(path):
    path.write_bytes(b"no archive at all" * 100)
    source = Source.at(path, [Place("P1", "North")])
    assert source.poll()
    assert str(path) in source.trouble
    assert "\n" not in source.trouble


def test_a_state_of_another_version_is_named(archive, monkeypatch):
    real = archive.press_states()
    odd = {**real, "P1": replace(real["P1"], snapshot={"phase": "simmering"})}
    monkeypatch.setattr(archive, "press_states", lambda known: odd)
    source = archive.source()
    source.poll()
    assert source.trouble.startswith("P1: its state is of another version")


async def test_a_failing_disk_is_louder_than_any_press(archive, monkeypatch):
    real = archive.press_states
    about = {"archive_failing_since_utc": NOW - 60, "archive_why": "disk full"}
    monkeypatch.setattr(
        archive,
        "press_states",
        lambda known: {n: replace(s, snapshot={**s.snapshot, "recorder": about}) for n, s in real().items()},
    )
    app = make_dashboard(archive)
    async with app.run_test(size=(100, 24)):
        text = screen_lines(app)
        assert "RECORD FAILING  disk full  since 15:10" in text[0]
        assert "not kept" in text[1]


async def test_an_empty_press_with_a_lost_port_says_so(monkeypatch):
    presses = four_presses()
    presses[0].snapshot, presses[0].rows = snapshot(0.0, Phase.EMPTY), []
    archive = shop_of(presses)
    real = archive.press_states
    port = {"port": {"state": "lost", "why": "unplugged"}}

    def states(known=None):
        made = real()
        return {**made, "P1": replace(made["P1"], snapshot={**made["P1"].snapshot, "recorder": port})}

    monkeypatch.setattr(archive, "press_states", states)
    app = make_dashboard(archive)
    async with app.run_test(size=(80, 24)):
        text = "\n".join(screen_lines(app)[2:7])
        assert "no tire on this press" in text
        assert "port lost: unplugged" in text
