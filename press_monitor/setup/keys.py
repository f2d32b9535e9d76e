"""Every key the shop file and the repair file know, with a word each, and the options of the drivers for hardware.

A test holds this list against what reads them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

__all__ = ["MODBUS", "REPAIR_FILE", "SHOP_FILE", "TEXT_LINE", "Key", "keys"]

SHOP_FILE, REPAIR_FILE = "shop file", "repair file"
TEXT_LINE, MODBUS = "options of text-line", "options of modbus"
"""What `Key.file` may be."""


@dataclass(frozen=True, slots=True)
class Key:
    """One key.

    Attributes:
        file: `SHOP_FILE`, `REPAIR_FILE`, or whose options it is one of, `TEXT_LINE` or `MODBUS`.
        path: dotted; a part in capitals is a name of the shop's own choosing.
        required: whether its table cannot do without it.
        words: what it is.
        example: as it may stand in the file.
    """

    file: str
    path: str
    required: bool
    words: str
    example: str


# Table path, then key, "!" for required, words, example; one a line.
_LAYER = (
    ("name!", "what the layer is called", '"repair patch"'),
    ("thickness!", "how thick it is", '"8 mm"'),
    ("compound", "the uncured rubber it is; left out for vulcanised casing", '"section-gum"'),
    ("conductivity", "heat conductivity, where it is known better", '"0.25 W/m/K"'),
    ("density", "likewise", '"1150 kg/m3"'),
    ("heat_capacity", "likewise", '"1900 J/kg/K"'),
)
_REPAIR = (
    ("layers", "[[layers]]: one stack, inner mat first", "see below"),
    ("stacks", "[[stacks]]: several, each with name and layers", "see below"),
    ("start_temperature", "of the rubber as it is loaded", '"65 degF"'),
    ("contact_conductance", "between mat and rubber", '"500 W/m2/K"'),
    ("mats_overlap", "whether the mats overlap the uncured rubber by one thickness each side", "true"),
    ("faces.inner", "what lies against the inside: mat or air", '"mat"'),
    ("faces.outer", "and against the outside", '"air"'),
    ("stacks.name!", "what a stack is called", '"injury centre"'),
    ("stacks.layers!", "[[stacks.layers]]: its layers, inner mat first", "see below"),
)

_SHOP: dict[str, tuple[tuple[str, str, str], ...]] = {
    "": (
        ("shop!", "[shop]: the shop itself", "see below"),
        ("compounds", "[compounds.NAME]: the rubbers", "see below"),
        ("recipes", "[recipes.NAME]: how they are cured", "see below"),
        ("presses", "[presses.NAME]: where", "see below"),
        ("repairs", "[repairs.NAME]: ready-made repairs, with the keys of a repair file", "see below"),
        ("alarms", "[alarms.KIND]: the shop's own limits", "see below"),
        ("fits", "[fits.NAME]: what a trial with a buried thermocouple told; written by fit", "see below"),
        ("horn", "[horn]: a horn or lamp on a serial control line", "see below"),
        ("phone", "[phone]: messages through Apprise", "see below"),
        ("records", "[records]: copies of the archive, and what counts after a comeback", "see below"),
    ),
    "shop": (
        ("name!", "of the shop, on every certificate", '"Juniper Flat Section Repair"'),
        ("units!", "us (degF, psi) or si (degC, kPa)", '"us"'),
        ("altitude", "above the sea, for the air's pressure", '"300 ft"'),
        ("time_zone", "whose times of day the screens show; else the computer's", '"America/Denver"'),
        ("ambient", "usual temperature of the shop", '"65 degF"'),
    ),
    "compounds.NAME": (
        ("reference_temperature!", "at which its curemeter was run", '"150 degC"'),
        ("scorch!", "minutes until it begins to set", '"2.5 min"'),
        ("tc50!", "until it is half cured", '"6 min"'),
        ("tc90!", "until it is 90 % cured", '"12 min"'),
        ("activation_energy", "how heat speeds it up; this or tc90_at", '"100 kJ/mol"'),
        ("tc90_at", "tc90 at other temperatures instead", '{ "140 degC" = "24 min" }'),
        ("blow_point!", "state of cure from which it no longer blows, found by sectioning", "0.35"),
        ("reversion!", "equivalent minutes until it reverts", '"90 min"'),
        ("water_activity", "of the moisture in it", "0.5"),
        ("reversion_activation_energy", "of reversion, where it is another one", '"120 kJ/mol"'),
        ("kind", "one-part, or two-part for one that cures cold and is not judged", '"one-part"'),
    ),
    "recipes.NAME": (
        ("hold_temperature!", "of the mats", '"300 degF"'),
        ("hold_tolerance!", "to both sides", '"10 degF"'),
        ("maximum_temperature!", "no mat may pass", '"330 degF"'),
        ("heat_up_limit!", "longest heat-up", '"25 min"'),
        ("minimum_hold!", "shortest hold", '"60 min"'),
        ("required_cure!", "state of cure of the deepest rubber", "0.90"),
        ("release_below!", "hottest point at release", '"180 degF"'),
        ("bag_pressure!", "target", '"32 psi"'),
        ("bag_minimum!", "lowest", '"28 psi"'),
        ("bag_maximum!", "highest", '"40 psi"'),
        ("bag_supply", "regulated, sealed (shut: slow leaks show soonest) or relief", '"regulated"'),
    ),
    "presses.NAME": (
        ("driver!", "what reads it: simulated, replay, text-line, modbus", '"text-line"'),
        ("recipe!", "the one it usually runs", '"section-300"'),
        ("title", "what people call it", '"North"'),
        ("probe_at", "rubber, or in-mat where the thermocouple does not lie against the rubber", '"rubber"'),
        ("port", "name, URL or adapter of its port", '{ vid = "0403", pid = "6001", serial_number = "A10K" }'),
        ("channels", "[presses.NAME.channels.CHANNEL]: what is measured", "see below"),
        ("options", "[presses.NAME.options]: for the driver", '{ baud = 9600, labels = { T1 = "inner_mat[degF]" } }'),
    ),
    "presses.NAME.channels.CHANNEL": (
        ("unit", "kept and shown", '"degF"'),
        ("decimals", "kept", "1"),
        ("sensor", "what is written on it", '"TC-14"'),
        ("low", "below this it is the sensor", '"20 degF"'),
        ("high", "above this it is the sensor", '"600 degF"'),
        ("input", "direct, thermocouple, pt100, 4-20 mA or counts", '"thermocouple"'),
        ("type", "of a thermocouple", '"K"'),
        ("cold_junction", "a temperature, or the channel that measures it", '"terminals"'),
        ("r0", "ohms at 0 degC of a platinum sensor", "100"),
        ("range", "both ends of a 4-20 mA or counts input", '["0 psi", "100 psi"]'),
        ("counts", "the counts at both ends", "[0, 4095]"),
        ("calibration.offset", "added", '"-1.2 degF"'),
        ("calibration.gain", "multiplied by", "1.002"),
        ("calibration.date", "day of the calibration", "2031-05-04"),
        ("calibration.reference", "what it was compared with", '"ice and boiling water"'),
        ("calibration.due", "day it is due again", "2032-05-04"),
    ),
    "repairs.NAME": _REPAIR,
    "repairs.NAME.layers": _LAYER,
    "repairs.NAME.stacks.layers": _LAYER,
    "alarms.KIND": (
        ("priority", "high, medium or low", '"medium"'),
        ("on_delay", "how long it must hold", '"30 s"'),
        ("off_delay", "how long it must be gone", '"10 s"'),
        ("deadband", "how far back it must come", '"5 degF"'),
    ),
    "fits.NAME": (
        ("trial!", "the log", '"trial-7.csv"'),
        ("trial_sha256!", "its SHA-256", '"64 hex digits"'),
        ("fitted_on", "the day", '"2031-05-04"'),
        ("compound", "it was about", '"section-gum"'),
        ("press", "it was made on", '"P1"'),
        ("diffusivity", "of the rubber", '"0.115 mm2/s"'),
        ("diffusivity_low", "its lower limit", '"0.105 mm2/s"'),
        ("diffusivity_high", "its upper limit", '"0.125 mm2/s"'),
        ("contact_conductance", "between mat and rubber", '"500 W/m2/K"'),
        ("contact_conductance_low", "its lower limit", '"300 W/m2/K"'),
        ("contact_conductance_high", "its upper limit", '"900 W/m2/K"'),
    ),
    "horn": (
        ("port!", "name, URL or adapter of its port, which no press uses", '"/dev/ttyUSB3"'),
        ("line", "dtr or rts", '"dtr"'),
        ("heartbeat", "beat of the line for a timer relay, so that a dead computer is heard too", '"10 s"'),
    ),
    "phone": (
        ("urls!", "addresses as Apprise writes them", '["ntfys://topic"]'),
        ("after", "how long an alarm of high priority waits for an acknowledgement", '"3 min"'),
        ("repeat", "between two messages about the same alarm", '"10 min"'),
    ),
    "records": (
        ("backup", "false for no copies by the recorder", "true"),
        ("backup_folder", "where copies go; another disk is the better place", '"E:/press-monitor"'),
        ("backup_every", "between two copies", '"24 h"'),
        ("backup_keep", "how many of the newest are kept", "14"),
        ("old_enough_days", "age at which a repair counts as one that might have come back", "90"),
        ("figures_by_person", "true shows comeback rates of single persons", "false"),
    ),
}

_LINE = (
    ("port!", "as the press's own port", '"COM3"'),
    ("baud", "9600 unless said", "19200"),
    ("parity", "none, even, odd", '"none"'),
    ("stopbits", "1 or 2", "1"),
    ("bytesize", "data bits", "8"),
)
_TEXT_LINE = (
    *_LINE,
    ("labels", "labelled values: label to channel[unit]", '{ T1 = "inner_mat[degF]", P = "bag[psi]" }'),
    ("fields", "values in a fixed order, empty for one nobody wants", '["inner_mat[degF]", "", "bag[psi]"]'),
    ("json", "an object a line: path to channel[unit]", '{ "zones.0.temp" = "inner_mat[degF]" }'),
    ("pattern", "a regular expression for a whole line, its groups being the labels", "'(?P<T1>\\S+) F'"),
    ("delimiter", "between fields; a space means any white space", '";"'),
    ("decimal", "point or comma", '","'),
    ("open_marks", "what says an open sensor", '["OPEN", "----", ""]'),
    ("ignore", "lines beginning so are skipped", '"#"'),
    ("encoding", "ascii, utf-8, latin-1 or cp1252", '"ascii"'),
    ("newline", "what ends a line", '"\\r"'),
    ("max_line", "longest line, bytes", "256"),
    ("checksum", "xor, sum-8, sum-16, crc-16/ccitt, crc-16/xmodem or crc-16/modbus, in hexadecimal", '"xor"'),
    ("checksum_from", "what stands before the checked text", '"$"'),
    ("checksum_after", "what stands between text and checksum", '"*"'),
    ("checksum_order", "high-first or low-first", '"high-first"'),
    ("ask", "what the instrument wants to be asked", '"READ?\\r\\n"'),
    ("every", "seconds between questions", "1.0"),
    ("answer_within", "seconds it may take to answer", "1.0"),
    ("answer_lines", "lines of an answer", "1"),
    (
        "polls",
        "several questions, each with a form of its own",
        '[{ ask = "T?", fields = ["bag[psi]"] }]',
    ),
)
_MODBUS = (
    *_LINE,
    ("unit_id", "the instrument's number on the line", "1"),
    ("map", "a register map that comes with the program", '"eight-loop-thermocouple"'),
    ("period", "seconds between two reads of a register", "1.0"),
    ("timeout", "seconds an instrument may think", "0.3"),
    ("gap", "registers read along between two wanted ones", "8"),
    ("largest_read", "registers a request at most", "125"),
    ("channels!", "a table a channel", "see below"),
    ("channels.CHANNEL.point", "a point of the map, in place of what follows", '"loop-1"'),
    ("channels.CHANNEL.map", "of another map", '"two-word-transmitter"'),
    ("channels.CHANNEL.unit_id", "of another instrument on the line", "2"),
    ("channels.CHANNEL.unit", "what the register holds", '"degC"'),
    ("channels.CHANNEL.function", "holding or input", '"input"'),
    ("channels.CHANNEL.address", "on the wire, from 0", "0"),
    ("channels.CHANNEL.type", "int16, uint16, int32, uint32 or float32", '"int16"'),
    ("channels.CHANNEL.order", "of 32 bits: ABCD, CDAB, BADC or DCBA", '"ABCD"'),
    ("channels.CHANNEL.scale", "value = raw * scale + offset", "0.1"),
    ("channels.CHANNEL.offset", "likewise", "0.0"),
    ("channels.CHANNEL.open", "raw numbers that say an open sensor", "[0x7FFF]"),
)


def keys() -> Iterator[Key]:
    """All of them, in the order they are best read."""
    for table, entries in _SHOP.items():
        yield from (_key(SHOP_FILE, table, *entry) for entry in entries)
    for table, entries in (("", _REPAIR), ("layers", _LAYER), ("stacks.layers", _LAYER)):
        yield from (_key(REPAIR_FILE, table, *entry) for entry in entries)
    yield from (_key(TEXT_LINE, "", *entry) for entry in _TEXT_LINE)
    yield from (_key(MODBUS, "", *entry) for entry in _MODBUS)


def _key(file: str, table: str, name: str, words: str, example: str) -> Key:
    path = f"{table}.{name.rstrip('!')}" if table else name.rstrip("!")
    return Key(file, path, name.endswith("!"), words, example)
