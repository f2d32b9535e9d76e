"""Gathering the facts for ``press-monitor check``: this computer, its ports, its disk, the archive, the recorder."""

from __future__ import annotations

import importlib.util
import os
import shutil
import time
from collections.abc import Callable, Mapping
from datetime import date
from pathlib import Path

from drivers.ports import FoundPort, PortsUnknown, list_ports
from drivers.serial_port import words_of_trouble
from press_monitor.archive import ArchiveError, ArchiveReader
from press_monitor.archive.care import look_after
from press_monitor.archive.distress import Distress
from press_monitor.archive.types import Json, RecorderRow
from press_monitor.paths import locations
from press_monitor.recorder.alarm_path import HORN_TESTED, PHONE_TESTED, last_tests
from press_monitor.recorder.awake import ChildInhibitor, usual_inhibitor
from press_monitor.recorder.launch import holder_of
from press_monitor.setup import checks
from press_monitor.setup.findings import Finding, fine, note, problem
from press_monitor.setup.listening import listen_to_press
from press_monitor.setup.port_use import wanted_ports
from press_monitor.shop import Shop

__all__ = ["examine"]


def examine(shop_file: Path, archive: Path, seconds: float, *, say: Callable[[str], None]) -> list[Finding]:
    """Look at everything; opens instruments' ports only where no recorder runs and `seconds` is above 0."""
    now = time.time()
    fitting = checks.check_shop(shop_file)
    findings = list(fitting.findings)
    row, presses, tests = _from_archive(archive)
    held = holder_of(archive) is not None
    alive = held and row is not None and now - row.heartbeat_utc <= checks.SILENT_S
    about = next(iter(presses.values()), None) if alive else None
    findings += checks.check_recorder(row, held, now, presses if alive else {})
    findings += checks.check_distress(Distress(archive).heard(now))
    if fitting.shop is not None:
        if not alive:
            findings += _look_at_ports(fitting.shop, held)
            if seconds > 0.0 and not held:
                for each in fitting.presses:
                    if "port" in each.press.options:
                        say(f"listening to {each.press.name} …")
                        findings.append(listen_to_press(each, seconds))
        findings.append(checks.check_horn(fitting.shop, about, tests.get(HORN_TESTED), now))
        findings.append(checks.check_phone(fitting.shop, about, tests.get(PHONE_TESTED), now))
        findings += _phone_extra(fitting.shop)
        findings += checks.check_calibration(fitting.presses, date.today())  # noqa: DTZ011 - the shop's own day
    findings.append(checks.check_clock(now, None if row is None else row.heartbeat_utc))
    folder = next(each for each in (archive.parent, *archive.parent.parents) if each.exists())
    findings.append(checks.check_disk(folder, shutil.disk_usage(folder).free))
    findings.append(checks.check_archive(archive))
    findings.append(checks.check_key(locations().key_file, archive))
    findings += _looked_after(archive, fitting.shop, now)
    findings.append(_awake())
    return findings


def _from_archive(archive: Path) -> tuple[RecorderRow | None, Mapping[str, Json], Mapping[str, float]]:
    """Who records, what it last said beside each press, and when horn and phones were tested; nothing if unreadable."""
    try:
        with ArchiveReader(archive) as reader:
            presses = {name: state.snapshot.get("recorder") or {} for name, state in reader.press_states().items()}
            return reader.recorder(), presses, last_tests(reader.events(None))
    except ArchiveError:
        return None, {}, {}


def _look_at_ports(shop: Shop, held: bool) -> list[Finding]:
    found: tuple[FoundPort, ...] | str
    try:
        found = list_ports()
    except PortsUnknown as error:
        found = str(error)
    return checks.check_ports(shop, found, {} if held else _refused(shop, found))


def _refused(shop: Shop, found: tuple[FoundPort, ...] | str) -> dict[str, str]:
    """The ports this user may not open, with what to do about it; Windows has no such thing."""
    if os.name != "posix":
        return {}
    names = set() if isinstance(found, str) else {port.device for port in found}
    names |= {want for want in wanted_ports(shop).values() if isinstance(want, str) and "://" not in want}
    denied = PermissionError(13, "Permission denied")
    return {
        name: words_of_trouble(name, denied)
        for name in names
        if os.path.exists(name) and not os.access(name, os.R_OK | os.W_OK)
    }


def _phone_extra(shop: Shop) -> list[Finding]:
    if shop.phone is None or importlib.util.find_spec("apprise") is not None:
        return []
    return [problem("phone", "messages want one more package", 'pip install "press-monitor[phone]"')]


def _looked_after(archive: Path, shop: Shop | None, now: float) -> list[Finding]:
    """Copies of archive and key. A missing copy is a note: only its owner knows of those that lie elsewhere."""
    backups = None if shop is None else shop.upkeep.backup_folder
    if not archive.exists():
        return []
    found = []
    for each in look_after(archive, locations().key_file, locations().backups if backups is None else backups, now):
        if each.name in ("archive", "key"):
            continue  # told already, with more of a look
        if each.ok and not each.advice:
            found.append(fine(each.name, each.words))
        elif each.name == "key file":
            found.append(problem(each.name, each.words, each.advice))
        else:
            found.append(note(each.name, each.words, each.advice))
    return found


def _awake() -> Finding:
    inhibitor = usual_inhibitor()
    if isinstance(inhibitor, ChildInhibitor) and not inhibitor.known:
        do = "switch sleep off in the system's settings"
        return note("power", "this system has no way to be kept awake during a cure", do)
    return fine("power", "this system can be kept awake while a press is hot")
