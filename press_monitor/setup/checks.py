"""What can be wrong with an installation, one function a matter: facts in, findings out.

Only `check_archive` and `check_key` read files; nothing here opens a port.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from drivers.ports import FoundPort
from press_monitor.archive.keys import Verifier, load_key
from press_monitor.archive.ledger import GENESIS_PREV, chained
from press_monitor.archive.reader import ArchiveReader
from press_monitor.archive.types import ArchiveError, Json, RecorderRow
from press_monitor.fitting import FittedPress, fit_press, refuse_shared
from press_monitor.setup.findings import Finding, fine, note, problem
from press_monitor.setup.port_use import port_rows, wanted_ports
from press_monitor.shop import Shop, ShopError, load_shop
from press_monitor.watch.outside import look_at

__all__ = [
    "Fitting",
    "check_archive",
    "check_calibration",
    "check_clock",
    "check_disk",
    "check_distress",
    "check_horn",
    "check_key",
    "check_phone",
    "check_ports",
    "check_recorder",
    "check_shop",
]

SILENT_S = 5.0
TESTED_WITHIN_S = 7 * 86_400.0
SOON_DAYS = 14
LOW_BYTES, FULL_BYTES = 2_000_000_000, 200_000_000
_EARLIEST_YEAR = 2025


@dataclass(frozen=True, slots=True)
class Fitting:
    """The shop file as far as it can be used."""

    shop: Shop | None
    presses: tuple[FittedPress, ...]
    findings: tuple[Finding, ...]


def check_shop(path: Path, clock: Callable[[], float] = time.monotonic) -> Fitting:
    """Read the shop file and make every press's driver, opening nothing."""
    try:
        shop = load_shop(path)
    except ShopError as error:
        do = "press-monitor setup makes one" if not path.exists() else "mend that line; press-monitor check --keys"
        return Fitting(None, (), (problem("shop file", str(error), do),))
    findings, fitted = [], []
    for press in shop.presses.values():
        try:
            fitted.append(fit_press(press, shop, clock))
        except ShopError as error:
            findings.append(problem("shop file", str(error), "mend that key", press.name))
    try:
        refuse_shared(fitted, shop)
    except ShopError as error:
        findings.append(problem("shop file", str(error), "give each press a port, or registers, of its own"))
    if not shop.presses:
        findings.append(problem("shop file", f"{path}: names no press", "press-monitor setup adds one"))
    if not findings:
        findings.append(fine("shop file", f"{path}: {shop.name}, {len(fitted)} presses"))
    return Fitting(shop, tuple(fitted), tuple(findings))


def check_ports(shop: Shop, found: Sequence[FoundPort] | str, refused: Mapping[str, str]) -> list[Finding]:
    """Whether every wanted port is there and may be opened.

    Args:
        shop: the shop file.
        found: the ports there are, or why they cannot be listed.
        refused: device to words, for those this user may not open.
    """
    wanted = wanted_ports(shop)
    if isinstance(found, str):
        return [problem("port", found, "see whether the system lists its ports at all")] if wanted else []
    findings = []
    for row in port_rows(found, wanted):
        for who in row.used_by:
            press = None if who == "horn" else who
            what = "the horn" if who == "horn" else who
            if row.there is False:
                do = "plug it in, or run press-monitor ports and correct the port in the shop file"
                findings.append(problem("port", f"{what}: {row.note}", do, press))
            elif row.device is not None and row.device in refused:
                words, _, do = refused[row.device].partition(". ")
                findings.append(problem("port", f"{what}: {words}", do, press))
            else:
                findings.append(fine("port", f"{what}: {row.device or row.wanted}", press))
    return findings


def check_clock(now_utc: float, newest_utc: float | None) -> Finding:
    """Whether the computer's clock can be right: `newest_utc` is the newest time in the archive, UTC seconds."""
    do = "set the computer's clock, or have it set itself over the network"
    year = 1970 + now_utc / 31_556_952.0
    if year < _EARLIEST_YEAR:
        return problem("clock", f"the computer's clock says {math.floor(year)}", do)
    if newest_utc is not None and newest_utc - now_utc > 60.0:
        hours = (newest_utc - now_utc) / 3600.0
        return problem("clock", f"the archive holds times {hours:.1f} h ahead of this computer's clock", do)
    return fine("clock", "agrees with what the archive holds")


def check_disk(folder: Path, free: int) -> Finding:
    """Room for what comes: a three-hour cure takes about 40 kB, so the limits leave room for everything else."""
    room = f"{free / 1e9:.1f} GB free where {folder} lies"
    if free < FULL_BYTES:
        return problem("disk", f"only {room}", "make room: cures cannot be kept much longer")
    if free < LOW_BYTES:
        return note("disk", room, "make room before it is needed")
    return fine("disk", room)


def check_key(path: Path, archive: Path) -> Finding:
    """Whether the key that signs the ledger is there, can be read, is private, and is this archive's."""
    keep = "fetch the copy you keep elsewhere; without it this archive can be read but not gone on with"
    if not path.exists():
        if not archive.exists():
            return note("key", "no key yet; the first recorder makes one", "then keep a copy of it somewhere else")
        return problem("key", f"{path}: the key that signs this archive is missing", keep)
    try:
        key = load_key(path)
        if archive.exists():
            with ArchiveReader(archive) as reader:
                genesis = reader.entry(0)
            if bytes.fromhex(str(genesis.content["public_key"])) != key.public:
                return problem("key", f"{path}: is another key than the one that signs {archive}", keep)
    except ArchiveError as error:
        return problem("key", str(error), keep)
    except (KeyError, TypeError, ValueError):
        return problem("key", f"{archive}: its first entry holds no key", "press-monitor verify")
    return fine("key", f"{path}: signs this archive")


def check_archive(path: Path) -> Finding:
    """Whether the archive opens and its newest entry is chained and signed as it should be."""
    if not path.exists():
        return note("archive", f"{path}: not there yet; the first recorder makes it")
    try:
        with ArchiveReader(path) as reader:
            head = reader.head()
            if head is None:
                return problem("archive", f"{path}: its ledger is empty", "press-monitor verify")
            public = bytes.fromhex(str(reader.entry(0).content["public_key"]))
            before = GENESIS_PREV if head.seq == 0 else reader.entry_hash(head.seq - 1)
            held = chained(before, head.body) == head.hash and Verifier(public).holds(head.signature, head.hash)
    except ArchiveError as error:
        return problem("archive", str(error), "press-monitor verify")
    except (KeyError, TypeError, ValueError):
        return problem("archive", f"{path}: its first entry holds no key", "press-monitor verify")
    if not held:
        return problem("archive", f"{path}: its newest entry is not what was signed", "press-monitor verify")
    return fine("archive", f"{path}: opens, and its newest entry, {head.seq}, is signed")


def check_recorder(row: RecorderRow | None, held: bool, now_utc: float, presses: Mapping[str, Json]) -> list[Finding]:
    """Whether a recorder lives, and what it says of itself and of its ports.

    Args:
        row: of the archive; None where nobody ever recorded.
        held: whether somebody holds the archive now.
        now_utc: UTC seconds.
        presses: what the recorder last said beside each press's state.
    """
    start = "press-monitor starts one; or press-monitor recorder"
    if row is None:
        return [note("recorder", "none has run yet", start)]
    age = now_utc - row.heartbeat_utc
    if not held:
        how = "was stopped" if row.stopped_utc is not None else "ended without saying so"
        return [note("recorder", f"none is running; the last one {how} {_ago(age)}", start)]
    if age > SILENT_S:
        words = f"process {row.pid} holds the archive and has not been heard of for {_ago(age).removesuffix(' ago')}"
        return [problem("recorder", words, "see whether the computer or its disk hangs; then start it again")]
    findings = [fine("recorder", f"process {row.pid} records, version {row.version}")]
    for name, about in presses.items():
        findings += _running_port(name, about.get("port") or {})
    own: Mapping[str, Json] = next(iter(presses.values()), {})
    if why := own.get("archive_why"):
        findings.append(problem("disk", f"what is read cannot be kept: {why}", "make room on the disk"))
    if why := own.get("awake"):
        findings.append(note("power", str(why), "switch sleep off in the system's settings"))
    for alarm in own.get("alarms") or ():
        # The others are told by the checks of disk and horn.
        if alarm["kind"] == "clock-step" and alarm["acknowledged_s"] is None:
            findings.append(note("clock", alarm["message"], alarm["advice"]))
    return findings


def _running_port(name: str, port: Mapping[str, Json]) -> list[Finding]:
    """What the recorder says of one press's port and of the instruments on it."""
    if port.get("trouble"):
        why = port.get("why") or port.get("device") or "why is not known"
        do = look_at(str(port.get("word"))) or "press-monitor ports; then the cable and the settings"
        return [problem("port", f"{name}: port {port['word']}: {why}", do, name)]
    found = [
        note("port", f"{name}: {each}", "its supply, its wiring, its number", name) for each in port.get("notes") or ()
    ]
    if port.get("state") == "open":
        found.append(fine("port", f"{name}: open, {port.get('talk', '')}", name))
    return found


def check_distress(told: Mapping[str, Json] | None) -> list[Finding]:
    """What a recorder says whose archive takes nothing: `told` as it was found beside the archive, None for nothing."""
    if told is None:
        return []
    words = f"the recorder cannot keep what is read: {told.get('why') or 'the disk refuses'}"
    return [problem("disk", words, str(told.get("advice") or "make room on the disk"))]


def _ago(seconds: float) -> str:
    for unit, length in (("days", 86_400.0), ("h", 3600.0), ("min", 60.0)):
        if seconds >= 2 * length:
            return f"{seconds / length:.0f} {unit} ago"
    return f"{max(0.0, seconds):.0f} s ago"


def check_horn(shop: Shop, about: Mapping[str, Json] | None, tested_utc: float | None, now_utc: float) -> Finding:
    """Whether an alarm is heard where no screen is open. `about` is what a running recorder says, else None."""
    if shop.horn is None:
        return note("horn", "no horn: alarms are heard only where a screen is open", "[horn] in the shop file")
    if about is not None and about.get("horn") == "none":
        return problem("horn", str(about.get("horn_words") or "cannot sound"), "see to its port and cable")
    return _tested("horn", tested_utc, now_utc)


def check_phone(shop: Shop, about: Mapping[str, Json] | None, tested_utc: float | None, now_utc: float) -> Finding:
    """Whether somebody is told who is not in the shop."""
    if shop.phone is None:
        return note("phone", "no phones: nobody outside the shop is told", "[phone] in the shop file")
    if about is not None and about.get("phone") in ("unusable", "retrying"):
        return problem("phone", str(about.get("phone_words")), "mend urls in [phone], or the network")
    return _tested("phone", tested_utc, now_utc)


def _tested(what: str, tested_utc: float | None, now_utc: float) -> Finding:
    do = f"press-monitor check --test {what}"
    if tested_utc is None:
        return note(what, f"the {what} was never tested", do)
    if now_utc - tested_utc > TESTED_WITHIN_S:
        return note(what, f"the {what} was tested {_ago(now_utc - tested_utc)}; unattended cures want seven days", do)
    return fine(what, f"tested {_ago(now_utc - tested_utc)}")


def check_calibration(fitted: Iterable[FittedPress], today: date) -> list[Finding]:
    """Which calibrations are overdue or soon will be."""
    findings, dated = [], 0
    for each in fitted:
        for channel in each.channels:
            due = None if channel.calibration is None else channel.calibration.due
            if due is None:
                continue
            dated += 1
            name, who = each.press.name, f"{each.press.name} {channel.name}"
            if due < today:
                words = f"{who}: calibration was due on {due.isoformat()}"
                findings.append(problem("calibration", words, "calibrate it, and write the new date", name))
            elif (due - today).days <= SOON_DAYS:
                findings.append(note("calibration", f"{who}: due on {due.isoformat()}", "calibrate it", name))
    if not findings:
        words = f"none of {dated} is overdue" if dated else "no channel states when its calibration is due"
        findings.append(fine("calibration", words) if dated else note("calibration", words))
    return findings
