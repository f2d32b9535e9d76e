"""The wizard from the first question to the written file, by answers in a list: no terminal, no hardware."""

from __future__ import annotations

import sys
import tomllib

import pytest

from drivers.ports import FoundPort, PortIdentity
from press_monitor.fitting import fit_press
from press_monitor.setup.listening import Heard
from press_monitor.setup.shopfile import PressPlan, add_press, starter_text, write_checked
from press_monitor.setup.steps import Facts, Listen, Question, SetupStopped, Tried, Try
from press_monitor.setup.trying import do_listen, do_try
from press_monitor.setup.wizard import Wizard, identity_for
from press_monitor.shop import ShopError, load_shop
from tests.drivers.wires import instrument
from tests.shopfiles import SHOP

USB = FoundPort("/dev/ttyUSB0", PortIdentity(0x0403, 0x6001, "A10K", "1-2"), "Adapter")
TWIN = FoundPort("/dev/ttyUSB1", PortIdentity(0x0403, 0x6001, "A10K", "1-3"), "Adapter")
PLAIN = FoundPort("/dev/ttyS0", PortIdentity())
LINES = b"x\nT1=301.2 F T2=299.0 P=32.1\nT1=301.4 F T2=299.1 P=32.1\nT1=3"
MAPS = {"eight-loop-thermocouple": {"loop-1": "degC", "loop-2": "degC", "terminals": "degC"}}
GOOD = Tried(Heard(19_200, LINES))


def run(facts, answers):
    """Give the answers in turn; the wizard, and the key of every question that was asked."""
    wizard, asked, answers = Wizard(facts), [], list(answers)
    while wizard.step is not None and answers:
        step = wizard.step
        asked.append(step.key if isinstance(step, Question) else type(step).__name__)
        wizard.answer(answers.pop(0))
    assert not answers, f"answers left over: {answers}"
    return wizard, asked


def read(text, tmp_path):
    path = tmp_path / "shop.toml"
    write_checked(path, text)
    return load_shop(path)


def test_from_nothing_to_a_press_whose_lines_are_read(tmp_path):
    wizard, asked = run(
        Facts(None, (USB, PLAIN)),
        [
            *("Juniper Flat", "us", "", "North", "lines", "/dev/ttyUSB0"),
            GOOD,
            *("inner_mat", "outer_mat", "degF", "bag", "psi"),
            Tried(lines=("inner_mat: 301.4 degF",)),
            "yes",
        ],
    )
    assert asked == [
        *("shop", "units", "press", "title", "driver", "port", "Listen"),
        *("channel", "channel", "unit", "channel", "unit", "Try", "right"),
    ]
    shop = read(wizard.text, tmp_path)
    press = shop.presses["P1"]
    assert (shop.name, press.title, press.driver, press.recipe) == ("Juniper Flat", "North", "text-line", "section-300")
    assert press.options == {
        "port": {"vid": "0403", "pid": "6001", "serial_number": "A10K"},
        "baud": 19_200,
        "labels": {"T1": "inner_mat[degF]", "T2": "outer_mat[degF]", "P": "bag[psi]"},
    }
    channels = fit_press(press, shop, lambda: 0.0).channels
    assert [(c.name, c.unit) for c in channels] == [("inner_mat", "degF"), ("outer_mat", "degF"), ("bag", "psi")]


def test_a_press_more_keeps_every_comment(tmp_path):
    text = SHOP.replace("[presses.P1]", "# the first press, by the door\n[presses.P1]  # since 2019")
    wizard, _ = run(Facts(text), ["", "", "simulated"])
    assert wizard.text.startswith(text.rstrip("\n"))
    assert set(read(wizard.text, tmp_path).presses) == {"P1", "P2"}


def test_ports_that_are_in_use_are_shown_and_not_offered():
    wizard, _ = run(Facts(SHOP, (USB, PLAIN), {"/dev/ttyUSB0": "in use by P1"}), ["", "", "lines"])
    assert [choice.value for choice in wizard.step.choices] == ["/dev/ttyS0", "other"]
    assert wizard.step.told == ("/dev/ttyUSB0: in use by P1",)
    wizard.answer("other")
    wizard.answer("/dev/ttyUSB0")
    assert wizard.step.error == "in use by P1"
    wizard.answer("socket://10.0.0.7:4001")
    assert isinstance(wizard.step, Listen) and wizard.step.bauds == (9600,)


def test_an_instrument_that_is_asked_and_sends_raw_signals(tmp_path):
    heard = Tried(Heard(9600, b"\n5.2;23.5;12.0;2048\n5.3;23.5;12.0;2048\n5.3;23.5;12.0;2048\n"))
    wizard, asked = run(
        Facts(SHOP, (PLAIN,)),
        [
            *("", "", "asked", "1", r"MEAS?\r\n"),
            heard,
            *("inner_mat", "mV", "J", "23 degC"),
            *("other", "terminals", "degC"),
            *("bag", "mA", "0 psi", "60 psi"),
            *("ram", "counts", "0", "0 psi", "4095", "3000 psi"),
            Tried(),
            "yes",
        ],
    )
    assert asked.count("channel") == 4
    shop = read(wizard.text, tmp_path)
    press = shop.presses["P2"]
    assert press.options["ask"] == "MEAS?\r\n" and press.options["delimiter"] == ";"
    facts = {c.name: c.facts() for c in fit_press(press, shop, lambda: 0.0).channels}
    assert facts["inner_mat"]["conversion"]["kind"] == "thermocouple"
    assert facts["inner_mat"]["conversion"]["type"] == "J"
    assert facts["bag"]["conversion"]["kind"] == "loop"
    assert facts["ram"]["conversion"]["raw_high"] == 4095.0


def test_modbus_by_a_map_that_comes_with_the_program(tmp_path):
    wizard, asked = run(
        Facts(SHOP, (PLAIN,), {}, MAPS),
        ["", "", "modbus", "1", "0", "3", "19200", "inner_mat", "outer_mat", "skip", Tried(), "yes"],
    )
    assert asked[4:7] == ["unit id", "unit id", "baud"], "0 is nobody's number"
    press = read(wizard.text, tmp_path).presses["P2"]
    assert press.options == {
        "port": "/dev/ttyS0",
        "map": "eight-loop-thermocouple",
        "unit_id": 3,
        "baud": 19_200,
        "channels": {"inner_mat": {"point": "loop-1"}, "outer_mat": {"point": "loop-2"}},
    }


@pytest.mark.parametrize(
    "trouble",
    [
        Tried(trouble="/dev/ttyS0: no permission"),
        Tried(None),
        Tried(Heard(9600, b"\n" + bytes(range(128, 250)) + b"\n")),
    ],
)
def test_where_nothing_readable_comes_one_may_try_again_or_stop(trouble):
    wizard, _ = run(Facts(SHOP, (PLAIN,)), ["", "", "lines", "1", trouble])
    assert wizard.step.key == "again" and wizard.step.told
    wizard.answer("again")
    assert wizard.step.key == "driver"
    for given in ("lines", "1", trouble):
        wizard.answer(given)
    with pytest.raises(SetupStopped, match="nothing was written"):
        wizard.answer("stop")


def test_values_that_are_not_right_lead_back_to_the_instrument():
    answers = ["", "", "lines", "1", GOOD, "1", "1", "degF", "1", "psi", Tried(trouble="nothing came for bag"), "no"]
    wizard, _ = run(Facts(SHOP, (PLAIN,)), answers)
    assert wizard.step.key == "driver" and wizard.text is None


def test_a_bad_answer_leaves_the_question_standing_and_back_takes_the_last_one_back():
    wizard, _ = run(Facts(SHOP, (PLAIN,)), ["P 2", "P7"])
    assert wizard.step.key == "title"
    wizard.back()
    assert wizard.step.key == "press"
    for given in ("P9", "Long arm", "lines", "1", GOOD):
        wizard.answer(given)
    wizard.back()
    assert wizard.step.key == "port", "what came by itself is taken back with it"
    wizard.answer("1")
    assert isinstance(wizard.step, Listen)
    wizard, _ = run(Facts(SHOP), ["P 2"])
    assert wizard.step.error == "letters, digits, - and _ only"
    wizard, _ = run(Facts(SHOP), ["P2", "", "steam"])
    assert wizard.step.error == "'steam' is none of them"


def test_a_shop_without_recipes_is_told_what_is_missing():
    with pytest.raises(SetupStopped, match="no recipe"):
        Wizard(Facts('[shop]\nname = "x"\nunits = "us"\n'))


@pytest.mark.parametrize(
    ("there", "wanted"),
    [
        ((USB, PLAIN), PortIdentity(0x0403, 0x6001, "A10K")),
        ((USB, TWIN), PortIdentity(0x0403, 0x6001, "A10K", "1-2")),
        ((PLAIN,), "/dev/ttyS0"),
    ],
)
def test_a_port_is_written_so_that_this_very_one_is_found_again(there, wanted):
    assert identity_for(there[0], there) == wanted


# -- writing --


def test_a_file_that_would_be_refused_is_not_written(tmp_path):
    path = tmp_path / "shop.toml"
    path.write_text(SHOP, "utf-8")
    plan = PressPlan("P2", "", "text-line", "section-300", "/dev/ttyS0", {"labels": {"T 1": "bag[psi]"}})
    with pytest.raises(ShopError, match=r"shop\.toml: presses\.P2\.options\.labels\.T 1: is not a label"):
        write_checked(path, add_press(SHOP, plan))
    assert path.read_text("utf-8") == SHOP
    assert [each.name for each in tmp_path.iterdir()] == ["shop.toml"]


def test_a_press_that_stands_there_gets_a_new_instrument_and_keeps_the_rest(tmp_path):
    text = SHOP + 'title = "By the door"  # as everybody calls it\nprobe_at = "in-mat"\noptions = { seed = 7 }\n'
    done = add_press(text, PressPlan("P1", "", "text-line", "section-300", "COM5", {"fields": ["bag[psi]"]}))
    press = tomllib.loads(done)["presses"]["P1"]
    assert press["title"] == "By the door" and press["probe_at"] == "in-mat" and press["port"] == "COM5"
    assert press["options"] == {"fields": ["bag[psi]"]} and "# as everybody calls it" in done


@pytest.mark.parametrize("name", ['The "Flat"', "Back\\slash", "Zeile\nzwei", "Jürgens Werkstatt", "[x] # y"])
def test_any_name_makes_a_file_that_can_be_read(tmp_path, name):
    shop = read(add_press(starter_text(name, "si"), PressPlan("P1", name, "simulated", "section-300")), tmp_path)
    assert shop.name == "".join(c for c in name if c.isprintable())
    assert shop.presses["P1"].title == name


# -- on a pseudo-terminal: an instrument that answers at once --


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo-terminal pairs")
def test_setup_listens_to_and_tries_a_real_port(tmp_path):
    count = iter(range(1000))
    with instrument(lambda question: f"T1=300.{next(count) % 10} F P=32\r\n".encode()) as port:
        wizard, _ = run(Facts(SHOP), ["", "", "asked", port, r"?\r"])
        heard = do_listen(wizard.step)
        assert heard.heard.baud == 9600 and heard.heard.lines[0].startswith("T1=300.")
        for given in (heard, "inner_mat", "bag", "psi"):
            wizard.answer(given)
        assert isinstance(wizard.step, Try)
        shown = []
        tried = do_try(Try(wizard.step.text, wizard.step.press, 0.5), shown.append)
        assert tried.trouble == "" and tried.lines[1] == "bag: 32.00 psi"
        assert shown[-1].startswith("inner_mat 300.")
        wizard.answer(tried)
        wizard.answer("yes")
    assert read(wizard.text, tmp_path).presses["P2"].options["ask"] == "?\r"


def test_a_port_that_cannot_be_had_is_told():
    assert "is not there" in do_listen(Listen(run_settings("/dev/no-such-port"), (9600,))).trouble
    plan = PressPlan("P2", "", "text-line", "section-300", "/dev/no-such-port", {"fields": ["bag[psi]"]})
    assert "is not there" in do_try(Try(add_press(SHOP, plan), "P2")).trouble


def run_settings(port):
    from drivers.serial_port import LineSettings

    return LineSettings(port)
