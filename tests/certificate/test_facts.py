"""From a sealed record to what the certificate says."""

from __future__ import annotations

import copy
import re
from typing import Any

import pytest

from press_monitor.certificate.curves import time_charts
from press_monitor.certificate.customer import customer_copy
from press_monitor.certificate.facts import shop_copy
from press_monitor.certificate.letters import cells
from press_monitor.certificate.model import Pair, Words
from press_monitor.certificate.parts import units_of
from press_monitor.certificate.text import WIDTH, render
from press_monitor.quantities import UnitSystem
from press_monitor.watch.plain import to_json
from tests.certificate.samples import PROFILES, WATCHED_LIVE, entry, record, result


def text_of(*arguments: Any, **named: Any) -> str:
    return render(shop_copy(*record(*arguments, **named)))


def squeezed(text: str) -> str:
    return re.sub(r"\s+", "", text)


def test_the_text_holds_every_fact() -> None:
    text = text_of()
    for fact in (
        "Certificate 7: review",
        "Juniper Flat Section Repair, press P2, replayed 2030-03-17 19:51:40 UTC",
        "Dry Fork Quarry",
        "loader 23.5R25",
        "G-41, C-7",
        "8.2 % of the uncured rubber",
        "300 °F",  # hold
        "10 °F",  # tolerance, a difference
        "330 °F",
        "25 min",
        "28.0 psi",
        "22.0 mm",
        "vulcanised",
        "tc90 12 min",
        "activation energy 100 kJ/mol",
        "blow point 35.0 %",
        "0.1 °F",
        "offset 0.2, date 2030-01-10, reference gauge G-3",
        "pumped up",
        "no name",
        "300 s",
        "no readings",
        "Nothing was added. No inspection is recorded.",
        "local codes",
        "press-monitor 0.1.0",
    ):
        assert fact in " ".join(text.split()), fact
    whole = squeezed(text)
    for digest in ("22" * 32, "33" * 64, "cd" * 32, "11" * 32, "ab" * 32):
        assert digest in whole
    assert all(cells(line) <= WIDTH for line in text.splitlines())


def test_the_same_record_gives_the_same_bytes() -> None:
    assert text_of().encode() == text_of().encode()


def test_a_log_says_so_on_the_page_and_a_live_cure_does_not() -> None:
    said = "REPLAYED FROM A LOG, NOT WATCHED LIVE"
    assert text_of().count(said) == 2
    live = text_of({"source": "live", "source_log_sha256": None})
    assert said.lower() not in live.lower()
    assert "Log file" not in live
    assert "press P2, 2030-03-17 17:46:40 UTC" in live
    assert "17:46:40" not in text_of()  # when the logged cure really began, nobody here saw


def test_later_entries_are_told_and_a_ticket_judges_anew() -> None:
    later = (
        entry(35, "ticket-attached", ticket={"tire": "skid steer 12-16.5"}, result=result(verdict="pass", reasons=[])),
        entry(40, "inspection", result="accepted", inspector="shift lead"),
        entry(52, "comeback", cause="adhesion failure", hours=410),
    )
    text = text_of(later=later)
    assert "Certificate 7: pass" in text
    assert "Judged anew by ledger entry 35, on the ticket attached there; sealed as: review." in text
    assert "skid steer 12-16.5" in text
    assert "Dry Fork Quarry" in text
    assert "  - Result: accepted" in text
    assert "  - Cause: adhesion failure" in text
    assert "  - Hours: 410" in text
    assert "31; as of entry 52" in text


def test_charts_plot_the_trace_and_leave_the_gap_open() -> None:
    kept, trace = record()
    body = kept.sealed.content
    mats, bag = time_charts(trace, body, body["result"], UnitSystem.named("us"))
    assert [s.letter for s in mats.series] == ["i", "o"]
    assert mats.band == (pytest.approx(290.0), pytest.approx(310.0))
    assert mats.limits == (("maximum", pytest.approx(330.0)),)
    assert bag.band == (pytest.approx(28.0), pytest.approx(40.0))
    assert mats.x[0] == 0
    assert mats.x[-1] == pytest.approx(125.0)
    inner = dict(zip(mats.x, mats.series[0].values, strict=True))
    assert inner[10.0] == pytest.approx(190.0)  # 70 degF + 0.2 degF/s x 600 s
    assert inner[100.0] == pytest.approx(305.0)
    holes = [at for at, value in inner.items() if value is None]
    assert holes == [pytest.approx((2999 + 3300) / 2 / 60)]
    alarms = [(m.letter, m.at) for m in mats.marks if not m.action]
    assert alarms == [("A", 15.0), ("B", 35.25), ("C", 35.25)]
    assert [(m.letter, m.at, m.text) for m in mats.marks if m.action] == [("1", 35.5, "1: acknowledge")]
    assert [(s.name, s.start, s.end) for s in mats.spans][:2] == [("heat-up", 0.0, 22.0), ("hold", 22.0, 85.0)]


def test_charts_in_the_other_units() -> None:
    kept, trace = record()
    body = kept.sealed.content
    mats = time_charts(trace, body, body["result"], UnitSystem.named("si"))[0]
    assert mats.unit == "°C"
    assert mats.series[0].values[0] == pytest.approx((70 - 32) / 1.8)
    assert mats.band is not None
    assert mats.band[0] == pytest.approx((290 - 32) / 1.8)


def test_the_shops_units_come_from_the_record() -> None:
    assert units_of({"setup": {"units": "si"}}).name == "si"
    assert units_of({"setup": {"units": to_json(UnitSystem.named("si"))}}).name == "si"
    assert units_of({"setup": {}, "trace": {"channels": [{"unit": "degC"}]}}).name == "si"
    assert units_of({"setup": {"units": "furlong"}, "trace": {"channels": [{"unit": "degF"}]}}).name == "us"
    assert units_of({}).name == "us"


def test_a_bare_record_is_said_to_be_bare() -> None:
    bare = {"ticket": None, "repair": None, "gaps": [], "actions": [], "calibration": None}
    text = text_of(bare)
    assert "none: what was repaired, and by whom, is not recorded" in text
    assert "without the layers no cure can be worked out" in text
    assert "none recorded" in text


def test_clock_steps_stand_among_the_gaps() -> None:
    said = "the computer's clock was set back by 120 s; durations are not affected"
    note = {"kind": "clock-step", "t": 600.0, "seconds": -120.0, "words": said}
    text = " ".join(text_of({"gaps": [], "events": [note, {"kind": "PhaseChanged", "t": 1.0}]}).split())
    assert f"- at 10.0 min: {said}" in text


def test_the_recorders_own_alarms_are_told_each_once_as_they_ended() -> None:
    made = shop_copy(*record(WATCHED_LIVE))
    advice = ("What to do: Make room on the disk, or change it, now.",)
    assert [item.text for item in made.section("recorder").items if isinstance(item, Words)] == [
        *("no-horn, low", "raised before this cycle, no end in this record", "No horn", "What to do: Stay."),
        *("archive-failing, high", "raised at 50.2 min, cleared at 51.0 min"),
        *("What is read cannot be kept: database or disk is full", "acknowledged at 50.5 min: Ada", *advice),
        *("archive-failing, high", "raised at 66.7 min, no end in this record"),
        *("What is read cannot be kept: disk I/O error", *advice),
    ]
    text = " ".join(render(made).split())
    assert "50.0 min 55.0 min 300 s the computer slept" in text
    assert "- at 51.7 min: the clock was set back by 120 s" in text
    (none,) = shop_copy(*record({**WATCHED_LIVE, "events": []})).section("recorder").items
    assert none == Words("None.")
    assert "recorder" not in [section.key for section in shop_copy(*record()).sections], "no recorder reads a log"


def test_what_an_operator_was_refused_is_told() -> None:
    did = {"t": 900.0, "kind": "release", "operator": "bench 2", "alarm": None, "note": "", "seconds": None}
    told = {"kind": "OperatorDid", "t": 900.0, "action": did, "refused": "the bag is still up"}
    text = " ".join(text_of({"actions": [told]}).split())
    assert "15.0 min release bench 2 refused: the bag is still up" in text


def test_a_record_of_another_version_still_reads() -> None:
    text = text_of({"recipe": {"name": "old", "dwell_rule": "by eye"}, "setup": {"units": "us"}})
    assert "Dwell rule" in text
    assert "by eye" in text


def test_forty_alarms_and_a_minute_long_cure() -> None:
    one = result()["alarms"][0]
    many = [{**one, "id": f"a{n}", "raised_s": float(n), "since_s": float(n), "cleared_s": None} for n in range(40)]
    text = text_of({"result": result(alarms=many, duration_s=60.0)}, rows=61)
    assert "Z: BAG-LOW" in text
    assert "AN: BAG-LOW" in text  # the fortieth
    assert all(cells(line) <= WIDTH for line in text.splitlines())


def test_the_content_is_typed_and_found_by_key() -> None:
    made = shop_copy(*record())
    assert made.number == 7
    assert Pair("Press", "P2") in made.section("job").items
    assert isinstance(made.section("verdict").items[0], Words)
    assert [s.key for s in made.sections] == [
        *("job", "verdict", "curves", "cure", "profile", "phases", "alarms", "actions", "overrides", "gaps"),
        *("layers", "materials", "people", "recipe", "sensors", "later", "model", "seal", "cautions"),
    ]
    with pytest.raises(KeyError):
        made.section("price")


def test_a_ticket_attached_later_brings_its_layers_and_profiles() -> None:
    stack = copy.deepcopy(PROFILES["release"][0])
    stack["name"] = "injury centre"
    layers = [{"name": "whole filler", "thickness": 0.05, "compound": None}]
    outcome = result(verdict="pass", reasons=[])
    outcome["cure"]["deepest"]["stack"] = "injury centre"
    judged = {
        "result": outcome,
        "repair": {"stacks": [{"name": "injury centre", "layers": layers}]},
        "profiles": {"heat_off": None, "release": [stack]},
        "model": {"version": 3},
        "setup": {"driver": None, "ambient": 20.0},
        "compounds": {},
        "software": "9.9",
    }
    attached = entry(35, "ticket-attached", ticket={"tire": "skid steer 12-16.5"}, by="Jo Reed", **judged)
    bare = {"ticket": None, "repair": None, "profiles": None, "setup": {"units": "us", "driver": "simulated"}}
    kept, trace = record(bare, (attached,))
    for made in (shop_copy(kept, trace), customer_copy(kept, trace)):
        assert any(chart.title == "Cure, injury centre" for chart in made.charts())
        assert "simulated press: no rubber was cured" in made.banners  # what was sealed, whatever is attached
    text = render(shop_copy(kept, trace))
    assert "whole filler" in text
    assert "Model version         3" in text
    assert "Judged anew by        press-monitor 9.9" in text
    later = text[text.index("SINCE IT WAS SEALED") : text.index("MODEL\n")]
    assert later.count("\n  - ") == 4, later  # ticket, by, result, software
    assert "Ticket: told above." in later
    corrected = entry(
        36, "correction", ticket={"tire": "skid steer 10-16.5"}, withdraws=None, why="misread", by="Jo Reed"
    )
    text = render(shop_copy(*record(bare, (attached, corrected))))
    assert "Tire                  skid steer 10-16.5" in text
    assert "Ticket: told above, but for what was corrected since:" in text
    assert "Ticket: tire: skid steer 12-16.5" in text
    withdrawn = entry(36, "correction", withdraws=35, ticket={}, why="another tire's", by="Jo Reed")
    text = render(shop_copy(*record(bare, (attached, withdrawn))))
    assert "Certificate 7: review" in text
    assert "WITHDRAWN by a later entry" in " ".join(text.split())
    assert "whole filler" not in text


def test_the_day_of_an_inspection_is_the_day_it_was_made() -> None:
    later = (
        entry(40, "inspection", result="sound", by="Wilma Oakes", day="2030-03-16"),
        entry(41, "comeback", cause="adhesion failure", day="2030-09-02"),
    )
    text = render(customer_copy(*record(later=later)))
    assert "INSPECTED: SOUND" in text
    assert "On 2030-03-16, ledger entry 40" in text
    assert "CAME BACK 2030-09-02: ADHESION FAILURE" in text
    assert "Wilma" not in text
