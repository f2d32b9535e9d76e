"""The ticket and the layers as typed: what becomes of them, and what is said at which field. No screen."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from types import MappingProxyType

import pytest
from hypothesis import given
from hypothesis import strategies as st

from press_monitor.archive.stores import NO_STORES, StoreItem, Stores, folded
from press_monitor.archive.ticket import PREP_STEPS, read_ticket
from press_monitor.archive.types import CertificateRow
from press_monitor.quantities import PSI, UnitSystem
from press_monitor.screens.load.form import (
    CHECKS,
    FIELDS,
    INJURY,
    MATERIALS,
    STEP_WORDS,
    carried_over,
    remarks,
    ticket_of,
    with_unit,
)
from press_monitor.screens.load.leak_test import LIMIT_PA_MIN, WATCHED_S, LeakTest
from press_monitor.screens.load.memory import Likeness, best_like
from press_monitor.screens.load.plan_view import draw_plan, map_span
from press_monitor.screens.load.planning import Asked, work_out
from press_monitor.screens.load.repair import LayerRow, RepairForm
from press_monitor.screens.widgets.palette import Look, Marker, Tone
from press_monitor.shop import load_shop, repair_from_text
from tests.shopfiles import REPAIR, SHOP

TODAY = date(2026, 5, 4)
US = UnitSystem.named("us")


def stores(*items: StoreItem) -> Stores:
    return Stores(MappingProxyType({(item.kind, folded(item.name)): item for item in items}))


LOTS = stores(
    StoreItem("lot", "SG-1", expires=date(2031, 5, 4)),
    StoreItem("lot", "OLD", expires=date(2026, 5, 3)),
    StoreItem("lot", "CEM", dry_time_s=1800.0),
    StoreItem("bag", "B3", life_cures=300, cures_before=300),
    StoreItem("mat", "M1", life_cures=500, cures_before=12),
    StoreItem("probe", "K-17", calibration_due=date(2026, 5, 1)),
)

FULL = {
    "number": "J-1",
    "customer": "Long Draw Orchards",
    "tire": "23.5R25 L3",
    "tin": "1h4 abcdef 0109",
    "section": "shoulder",
    "injury.length": "120",
    "injury.depth": "1.5 in",
    "injury.through": "yes",
    "prep.skived": "yes",
    "prep.buffed": "no",
    "prep.cement_dry_time": "45",
    "people.skived": "Tom",
    "checks.ram_locked": "yes",
    "unattended": "no",
    "mats": "M1, M2",
    "bag": "B9",
    "mats_overlap": "yes",
    "materials.patch.lot": "SG-1",
    "materials.cement.lot": "CEM",
    "materials.cement.expires": "2026-12-01",
    "note": "",
}


def test_what_is_typed_is_a_ticket_the_recorder_reads():
    ticket = read_ticket(ticket_of(FULL), TODAY)
    assert (ticket.number, ticket.customer, ticket.tire) == ("J-1", "Long Draw Orchards", "23.5R25 L3")
    assert ticket.tin == "1H4ABCDEF0109"
    assert (ticket.injury.length, ticket.injury.depth, ticket.injury.through) == ("120 mm", "1.5 in", True)
    assert dict(ticket.prep) == {"skived": True, "buffed": False}
    assert ticket.cement_dry_s == 45 * 60.0
    assert dict(ticket.people) == {"skived": "Tom"}
    assert dict(ticket.checks) == {"ram_locked": True}
    assert (ticket.unattended, ticket.mats_overlap, ticket.over_temperature_cutout) == (False, True, None)
    assert (ticket.bag, ticket.mats, ticket.probes) == ("B9", ("M1", "M2"), ())
    assert [(m.use, m.lot, m.expires) for m in ticket.materials] == [
        ("repair patch", "SG-1", None),
        ("cement", "CEM", date(2026, 12, 1)),
    ]
    assert ticket.note == ""


def test_a_remark_does_not_say_again_what_stands_in_the_field_beside_it():
    said = remarks({"materials.patch.lot": "OLD", "mats": "M1, M2"}, TODAY, LOTS)["materials.patch.lot"]
    assert said.fitting(60) == "lot OLD expired on 2026-05-03"
    assert said.fitting(25) == "expired on 2026-05-03"


def test_the_form_has_a_field_for_every_key_of_a_ticket():
    """Whoever adds a key to the ticket hears of it here."""
    typed = {f.key: "1" for f in (*FIELDS, *INJURY)} | {"injury.through": "yes", "bag": "B", "mats": "M", "probes": "P"}
    typed |= {f"prep.{step}": "yes" for step in STEP_WORDS} | {f"people.{step}": "A" for step in STEP_WORDS}
    typed |= {f"checks.{key}": "yes" for key, _, _ in CHECKS} | {"prep.cement_dry_time": "1"}
    typed |= dict.fromkeys(("mats_overlap", "unattended", "over_temperature_cutout"), "yes")
    typed |= {f"materials.{short}.lot": "L" for short, _, _ in MATERIALS} | {"tin": FULL["tin"], "note": "n"}
    plain = read_ticket({**ticket_of(typed), "operator": "A"}, TODAY).to_json()
    every = set(read_ticket({}, TODAY).__slots__) - {"cement_dry_s", "cement_dry_time"}
    assert set(plain) == every
    assert set(STEP_WORDS) == set(PREP_STEPS)


@given(st.dictionaries(st.sampled_from(sorted(FULL)), st.text(max_size=30)))
def test_whatever_is_typed_is_either_read_or_said_to_be_wrong_at_a_field(typed):
    said = remarks(typed, TODAY, LOTS)
    if not any(remark.tone is Tone.ALARM for remark in said.values()):
        read_ticket(ticket_of(typed), TODAY)


@pytest.mark.parametrize(
    ("key", "text", "tone", "words"),
    [
        ("tin", "1H4 ABCDEG 0109", Tone.ALARM, "G is never used in one"),
        ("tin", "1H4 ABCDEF 0109", Tone.FINE, "made in the week from 2009-01-04"),
        ("injury.length", "12 psi", Tone.ALARM, "is not a unit of length"),
        ("injury.length", "-3", Tone.ALARM, "must be above zero"),
        ("injury.length", "120", Tone.IDLE, "= 120 mm"),
        ("prep.cement_dry_time", "soon", Tone.ALARM, "is not a time with its unit"),
        ("materials.patch.lot", "SG-1", Tone.FINE, "good until 2031-05-04"),
        ("materials.patch.lot", "old", Tone.ATTENTION, "lot OLD expired on 2026-05-03"),
        ("materials.patch.lot", "??", Tone.IDLE, "not in Stores, not checked"),
        ("materials.patch.expires", "2026-05-03", Tone.ATTENTION, "expired on 2026-05-03"),
        ("materials.patch.expires", "May", Tone.ALARM, "wants a day such as"),
        ("bag", "B3", Tone.ATTENTION, "has done 300 cures of 300"),
        ("mats", "M1", Tone.FINE, "M1: 12 cures of 500"),
        ("mats", "M1, M9", Tone.IDLE, "M9: not in Stores"),
        ("probes", "K-17", Tone.ATTENTION, "its calibration was due on 2026-05-01"),
    ],
)
def test_what_is_said_stands_at_its_field(key, text, tone, words):
    said = remarks({key: text}, TODAY, LOTS)[key]
    assert said.tone is tone
    assert words in said.words


def test_what_the_form_calls_for_an_override_is_what_the_recorder_would_refuse():
    for key, text in (("materials.patch.lot", "OLD"), ("bag", "B3"), ("probes", "K-17"), ("materials.gum.lot", "SG-1")):
        ticket = read_ticket(ticket_of({key: text}), TODAY)
        refused = LOTS.troubles(ticket, TODAY)
        said = remarks({key: text}, TODAY, LOTS)[key]
        assert (said.tone is Tone.ATTENTION) == bool(refused)
        assert not refused or refused == [said.words]


def test_a_cement_that_dried_too_short_is_said_at_the_dry_time():
    for dried, tone in (("", Tone.ATTENTION), ("10", Tone.ATTENTION), ("30", Tone.FINE)):
        said = remarks({"materials.cement.lot": "CEM", "prep.cement_dry_time": dried}, TODAY, LOTS)
        assert said["prep.cement_dry_time"] == replace(said["prep.cement_dry_time"], tone=tone)
        assert "lot CEM wants 30 min" in said["prep.cement_dry_time"].words


def test_an_unattended_cure_wants_its_own_cut_out():
    assert remarks({"unattended": "yes"}, TODAY, NO_STORES)["over_temperature_cutout"].tone is Tone.ALARM
    assert remarks({"unattended": "yes", "over_temperature_cutout": "yes"}, TODAY, NO_STORES) == {}


def test_what_was_done_on_another_tire_is_not_taken_over():
    carried = carried_over(ticket_of(FULL))
    assert carried == {
        "tire": "23.5R25 L3",
        "section": "shoulder",
        "bag": "B9",
        "mats": "M1, M2",
        "people.skived": "Tom",
        "materials.patch.lot": "SG-1",
        "materials.cement.lot": "CEM",
        "materials.cement.expires": "2026-12-01",
    }
    assert carried_over({"tire": 7}) == {}


@pytest.mark.parametrize(
    ("text", "meant"), [("44", "44 mm"), ("4,5", "4.5 mm"), ("44 mm", "44 mm"), ("1 in", "1 in"), ("x", "x"), ("", "")]
)
def test_a_bare_number_is_taken_in_the_unit_of_its_field(text, meant):
    assert with_unit(text, "mm") == meant


# -- layers --


@pytest.fixture
def shop(tmp_path):
    path = tmp_path / "shop.toml"
    path.write_text(SHOP, encoding="utf-8")
    return load_shop(path)


def test_layers_nobody_changed_are_sent_to_the_letter_and_changed_ones_are_read(shop):
    form = RepairForm.of(REPAIR)
    assert form.repair_text("degF") == REPAIR
    assert form.thickness_mm() == pytest.approx(44.0)
    first = form.stacks[0].rows[0]
    changed = replace(form.with_row(0, 0, replace(first, thickness="9,5")), start="60", heated="inner")
    read = repair_from_text(changed.repair_text("degF"), shop).repair
    assert [layer.thickness for layer in read.stacks[0].layers] == pytest.approx([0.0095, 0.022, 0.014])
    assert read.start_temperature == pytest.approx((60 - 32) / 1.8)
    assert (read.inner.value, read.outer.value) == ("mat", "air")


def test_what_a_layer_says_besides_is_kept(shop):
    text = (
        'mats_overlap = true\ncontact_conductance = "200 W/m2/K"\n'
        '[[stacks]]\nname = "injury centre"\n[[stacks.layers]]\nname = "filler"\nthickness = "30 mm"\n'
        'compound = "section-gum"\nconductivity = "0.3 W/m/K"\n'
        '[[stacks]]\nname = "skive edge"\n[[stacks.layers]]\nname = "gum"\nthickness = "4 mm"\n'
        'compound = "section-gum"\n'
    )
    form = RepairForm.of(text)
    assert [stack.name for stack in form.stacks] == ["injury centre", "skive edge"]
    more = form.with_row(1, 1, LayerRow("casing", "20", ""))
    read = repair_from_text(more.repair_text("degC"), shop)
    assert read.mats_overlap is True
    assert read.repair.contact_conductance == 200.0
    assert read.repair.stacks[0].layers[0].conductivity == 0.3
    assert [layer.name for layer in read.repair.stacks[1].layers] == ["gum", "casing"]
    assert read.repair.stacks[1].layers[1].compound is None


def test_layers_that_cannot_be_read_are_named():
    form = RepairForm.own("section-gum")
    assert form.troubles("degF") == ["no layer has a thickness yet"]
    form = form.with_row(0, 1, LayerRow("casing", "8"))
    assert form.troubles("degF") == ["all layers are casing: nothing would cure"]
    form = form.with_row(0, 1, LayerRow("gum", "8 psi", "section-gum"))
    assert form.troubles("degF") == ["gum: 'psi' in '8 psi' is not a unit of length"]
    assert form.thickness_mm() is None
    assert replace(form, start="warm").troubles("degF")[-1].startswith("start: 'warm' is not a temperature")


# -- the plan --


def test_the_plan_on_the_screen_is_the_one_of_the_command(shop):
    """`plan` itself is checked against outside figures in tests/cure; here: that the screen asks it the same."""
    from press_monitor.cure.plan import plan

    written = repair_from_text(REPAIR, shop)
    shown = work_out(shop, Asked(REPAIR, "section-300", "P1", None, "us"))
    direct = plan(written.repair, shop.recipe("section-300").hold_temperature, shop.ambient, 0.90, units=US)
    assert shown.plan is not None
    assert shown.plan.hold_min == direct.hold_min
    assert shown.plan.hold_min_safe == direct.hold_min_safe
    assert shown.plan.government_rule_min == pytest.approx(6 * 22 / 0.8)  # TM 9-2610-200-14, para 2-41
    lines = "\n".join(draw_plan(shown, False, "", US, 38, 19, Look()).lines())
    for words in (f"{direct.hold_min:.0f} min", f"{direct.hold_min_safe:.0f} min", "165 min", "TM 9-2610", "60-90 min"):
        assert words in lines


def test_a_plan_that_cannot_be_made_says_why(shop):
    for text, recipe, words in (
        ("layers = 3", "section-300", "layers: wants a list of tables"),
        (REPAIR.replace("section-gum", "x"), "section-300", "no compound 'x'"),
        (REPAIR, "none", "no such recipe"),
        (REPAIR + '[faces]\ninner = "air"\nouter = "air"\n', "section-300", "no face lies against a mat"),
    ):
        told = work_out(shop, Asked(text, recipe, "P1", None, "us"))
        assert told.plan is None
        assert words in told.trouble
        drawn = " ".join(line.strip() for line in draw_plan(told, False, "", US, 60, 19, Look()).lines())
        assert words in drawn


@pytest.mark.parametrize("marker", list(Marker))
@pytest.mark.parametrize(("width", "height"), [(24, 8), (38, 19), (46, 31), (96, 46)])
def test_the_map_tells_under_good_and_over_without_colour(shop, marker, width, height):
    shown = work_out(shop, Asked(REPAIR, "section-300", "P1", None, "us"))
    assert shown.plan is not None
    drawn = draw_plan(shown, False, "", US, width, height, Look(marker=marker))
    lines = drawn.lines()
    if height < 19:
        return
    signs = {Marker.ASCII: (".", "#", "x", "O")}.get(marker, ("·", "█", "▒", "◆"))
    for sign in signs:
        assert any(sign in line for line in lines), sign
    for word in ("under", "good", "over"):
        assert any(f" {word} " in line for line in lines), word
    assert map_span(shown.plan) % 60 == 0
    assert drawn.height == height


# -- the lock-up leak test --


def test_a_leak_test_wants_a_bag_that_is_up():
    assert LeakTest.begin(0.0, None, 28 * PSI) == "no reading of the bag comes from this press"
    assert LeakTest.begin(0.0, 20 * PSI, 28 * PSI) == "pump the bag up to its working pressure first"


@pytest.mark.parametrize(("fall", "tight"), [(0.0, True), (0.1, True), (0.44, True), (0.46, False), (-0.2, True)])
def test_a_bag_that_falls_faster_than_the_watch_would_bear_leaks(fall, tight):
    test = LeakTest.begin(50.0, 32 * PSI, 28 * PSI)
    for t in range(51, 50 + int(WATCHED_S) + 1):
        assert test.tight is None
        test = test.take(float(t), (32 - fall * (t - 50) / WATCHED_S) * PSI)
    assert test.over
    assert test.tight is tight
    assert pytest.approx(0.45 * PSI) == LIMIT_PA_MIN * WATCHED_S / 60
    words = test.words(US)
    assert ("it holds" if tight else "IT LEAKS") in words
    assert f"{abs(fall):.2f} psi in 3 min" in words
    after = test.take(1000.0, 0.0)
    assert after == test, "what comes later is no part of it"


def test_readings_that_are_missing_do_not_end_a_leak_test():
    test = LeakTest.begin(0.0, 32 * PSI, 28 * PSI)
    test = test.take(100.0, 31.9 * PSI).take(170.0, None)
    assert not test.over
    assert test.words(US) == "fell 0.10 psi in 1:40 of 3 min"


# -- the last one like it --


def make_row(number, **told):
    given = {"customer": "A", "tire": "23.5R25", "section": "shoulder", "thickness_mm": 44.0, "press": "P1", **told}
    return CertificateRow(
        number=number,
        entry=number,
        cycle_id="",
        source="live",
        started_utc=0.0,
        ended_utc=1.0,
        verdict="pass",
        reasons=(),
        recipe="section-300",
        state_of_cure=None,
        inspection=None,
        comeback=None,
        **given,
    )


def test_the_newest_of_the_most_alike_is_found():
    rows = [make_row(3), make_row(2), make_row(1, tire="12-16.5"), make_row(4, thickness_mm=16.0)]
    wanted = Likeness("P1", "section-300", 44.0)
    assert best_like(rows, wanted).number == 3
    assert best_like(rows, replace(wanted, tire="12-16.5")).number == 1
    assert best_like(rows, replace(wanted, thickness_mm=16.5)).number == 4
    assert best_like([make_row(5, tire="", customer="", section="")], wanted) is None, "it has no ticket"
    assert best_like([], wanted) is None
