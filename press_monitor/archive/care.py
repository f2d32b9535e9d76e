"""Is the archive looked after? The key, its copy off this computer, the backups; and the drill for losing any of them.

What is asked here never changes anything but for `copy_keys`, which writes the copy. The drill plays a lost or replaced
computer: with nothing but what lies in a folder, could the records be verified, and could the recorder go on?
"""

from __future__ import annotations

import os
import stat
import sys
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

from press_monitor.archive.backup import backups_in
from press_monitor.archive.ballast import Ballast
from press_monitor.archive.connect import JOURNAL_LIMIT
from press_monitor.archive.keys import Verifier, fingerprint, load_key, public_file, read_public_key
from press_monitor.archive.reader import ArchiveReader
from press_monitor.archive.types import ArchiveError, Json
from press_monitor.archive.verify import verify

__all__ = ["Finding", "copy_keys", "drill", "look_after"]

BACKUP_LATE_S = 3 * 86_400.0
LOG_BYTES = 4 * JOURNAL_LIMIT
"""A write-ahead log past this has a reader in its way: otherwise it is folded in every few megabytes."""

_COPY_WORDS = """\
The signing key of a press-monitor archive, copied on {day}.

ledger.key  signs certificates. Whoever has it can sign records as this shop: keep it locked away, off the computer.
ledger.pub  verifies them. Give it to anyone: press-monitor verify --key ledger.pub
fingerprint {fingerprint}

Lost computer or key: put ledger.key back where "press-monitor paths" says, put the newest backup back with
"press-monitor archive restore BACKUP", then run "press-monitor verify --key ledger.pub". Try it now, while nothing is
lost: "press-monitor archive drill FOLDER" with this folder.
"""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing looked at.

    Attributes:
        name: ``key``, ``key file``, ``public key``, ``backup``, ``ballast``, …
        ok: whether it is as it should be.
        words: what was found.
        advice: what to do; empty where nothing is to be done.
    """

    name: str
    ok: bool
    words: str
    advice: str = ""

    def to_json(self) -> dict[str, Json]:
        """Every key, always."""
        return asdict(self)

    def line(self) -> str:
        """In words."""
        return f"{'ok ' if self.ok else 'NO '} {self.name}: {self.words}" + (f"; {self.advice}" if self.advice else "")


def look_after(archive: Path, key_path: Path, backups: Path, now: float) -> tuple[Finding, ...]:
    """What `check` says of archive, key and backups. Never raises for what is missing: that is what it finds."""
    return (
        *_archive(archive),
        *_key(archive, key_path),
        _backup(archive, backups, now),
        *_room(archive),
        *_log(archive),
    )


def _archive(archive: Path) -> Iterator[Finding]:
    if not archive.exists():
        yield Finding("archive", True, f"{archive} is not there yet", "the recorder makes it")
        return
    try:
        with ArchiveReader(archive) as reader:
            head, waiting = reader.head(), reader.open_cycles()
    except ArchiveError as error:
        advice = "press-monitor archive restore BACKUP, or press-monitor archive recover"
        yield Finding("archive", False, str(error), advice)
        return
    entry = "empty" if head is None else f"ledger entry {head.seq}, {len(waiting)} cures not sealed"
    yield Finding("archive", True, f"{archive}: {entry}", "press-monitor verify checks all of it")


def _signed_by(archive: Path) -> str | None:
    try:
        with ArchiveReader(archive) as reader:
            return reader.key_fingerprint()
    except ArchiveError:
        return None


def _key(archive: Path, key_path: Path) -> Iterator[Finding]:
    signed_by = _signed_by(archive)
    if not key_path.exists():
        if signed_by is None:
            yield Finding("key", True, f"{key_path} is not there yet", "the recorder makes it with the archive")
        else:
            yield Finding(
                "key",
                False,
                f"{key_path} is missing: nothing can be sealed, every record can still be verified",
                "copy it back from where you keep it; if it is lost for good: press-monitor archive successor",
            )
        return
    try:
        public = load_key(key_path).public
    except ArchiveError as error:
        yield Finding("key", False, str(error), "copy it back from where you keep it")
        return
    print_of = fingerprint(public)
    if signed_by is not None and signed_by != print_of:
        yield Finding(
            "key",
            False,
            f"{key_path} has fingerprint {print_of[:16]}, and the archive is signed by {signed_by[:16]}",
            "copy the right one back from where you keep it",
        )
    else:
        advice = "keep a copy off this computer: press-monitor archive copy-key FOLDER, then archive drill FOLDER"
        yield Finding("key", True, f"fingerprint {print_of}", advice)
    if sys.platform != "win32":
        mode = stat.S_IMODE(key_path.stat().st_mode)
        private = not mode & 0o077
        advice = "" if private else f"chmod 600 {key_path}"
        yield Finding("key file", private, f"mode {mode:o}" + ("" if private else ": others can read it"), advice)
    try:
        same = read_public_key(public_file(key_path)) == public
        words = "fits the key" if same else "belongs to another key"
    except ArchiveError as error:
        same, words = False, str(error)
    advice = "" if same else "press-monitor archive copy-key FOLDER writes it anew, beside the copy"
    yield Finding("public key", same, f"{public_file(key_path)} {words}" if same else words, advice)


def _backup(archive: Path, folder: Path, now: float) -> Finding:
    found = backups_in(folder)
    if not found:
        if not archive.exists():
            return Finding("backup", True, "nothing to copy yet")
        return Finding("backup", False, f"{folder}: no copy yet", "press-monitor archive backup")
    made, newest = found[-1]
    hours = (now - made) / 3600.0
    fresh = now - made < BACKUP_LATE_S
    words = f"{len(found)} copies, the newest {newest.name}, {hours:.0f} h old"
    on_same = newest.parent.stat().st_dev == archive.parent.stat().st_dev if archive.exists() else False
    advice = "" if fresh else "press-monitor archive backup"
    if fresh and on_same:
        advice = "it lies on the same disk: keep one elsewhere too"
    return Finding("backup", fresh, words, advice)


def _room(archive: Path) -> Iterator[Finding]:
    if not archive.exists():
        return
    there = Ballast(archive).path.exists()
    words = "room is kept back for a full disk" if there else "no room is kept back for a full disk"
    yield Finding("ballast", True, words, "" if there else "the recorder keeps some where the disk has enough")


def _log(archive: Path) -> Iterator[Finding]:
    """The write-ahead log. It cannot begin anew while somebody reads what lies in it, and grows until the disk is full.

    SQLite's documentation, "Write-Ahead Logging", section 6: "Avoiding Excessively Large WAL Files" (from memory).
    """
    log = Path(f"{archive}-wal")
    try:
        size = log.stat().st_size
    except OSError:
        return
    words = f"{size / 1e6:.0f} MB wait in {log.name} to be folded into the archive"
    if size <= LOG_BYTES:
        yield Finding("write-ahead log", True, words)
        return
    yield Finding(
        "write-ahead log",
        False,
        f"{words}: something has been reading for long, and it grows until that ends",
        "close what reads the archive and was left open (a tool for databases, a copy or a verify that hangs, a "
        "dashboard); it shrinks with the next cure that is sealed, or when the recorder is stopped",
    )


def copy_keys(key_path: Path, folder: Path, day: str) -> list[Path]:
    """Copy the private and the public key into a folder, with a note that says what they are; the files written.

    Raises `ArchiveError`, also where the folder holds another key already.
    """
    key = load_key(key_path)
    private, public, note = folder / "ledger.key", folder / "ledger.pub", folder / "READ-ME.txt"
    if private.exists() and load_key(private).public != key.public:
        raise ArchiveError(f"{private}: is another key, and it is not written over; take an empty folder")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _write(private, key_path.read_bytes(), 0o600)
        _write(public, _public_pem(key.public), 0o644)
        words = _COPY_WORDS.format(day=day, fingerprint=fingerprint(key.public))
        _write(note, words.encode(), 0o644)
    except OSError as e:
        raise ArchiveError(f"{folder}: the key cannot be copied: {e.strerror or e}") from e
    if load_key(private).public != key.public or read_public_key(public) != key.public:
        raise ArchiveError(f"{folder}: what was written there is not the key; take another medium")
    return [private, public, note]


def _public_pem(public: bytes) -> bytes:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

    return Ed25519PublicKey.from_public_bytes(public).public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)


def _write(path: Path, data: bytes, mode: int) -> None:
    """Write anew, never over a file that others may read already."""
    path.unlink(missing_ok=True)
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), mode)
    with os.fdopen(handle, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def drill(folder: Path, archive: Path | None = None) -> tuple[Finding, ...]:
    """Play a lost computer: what can be done with nothing but what lies in `folder` (and the folders in it)?

    `archive`: the one in use, to say how much a copy lacks; None or missing: nothing is known of it.
    """
    found: list[Finding] = []
    keys = [path for path in sorted(folder.rglob("*.key")) if path.is_file()]
    copies = sorted((made, path) for each in _folders(folder) for made, path in backups_in(each))
    if not copies:
        found.append(
            Finding("backup", False, f"{folder}: no copy of the archive in it", "press-monitor archive backup --to")
        )
    report = None
    if copies:
        newest = copies[-1][1]
        try:
            report = verify(newest)
            words = f"{newest}: {report.certificates} certificates"
            said = words + (" hold" if report.ok else f", {report.problems[0].message}")
            found.append(
                Finding("backup", report.ok, said, "" if report.ok else "make another: press-monitor archive backup")
            )
        except ArchiveError as error:
            found.append(Finding("backup", False, str(error), "make another: press-monitor archive backup"))
    found.append(_drill_key(keys, folder, None if report is None else report.key_fingerprint))
    if report is not None and archive is not None and archive.exists():
        found.append(_behind(archive, report.entries, report.head_hash, report.head_entry))
    return tuple(found)


def _folders(folder: Path) -> Iterator[Path]:
    yield folder
    if folder.is_dir():
        yield from (path for path in folder.rglob("*") if path.is_dir())


def _drill_key(keys: list[Path], folder: Path, signed_by: str | None) -> Finding:
    advice = "press-monitor archive copy-key FOLDER; without the key a new archive has to be begun"
    if not keys:
        return Finding("key", False, f"{folder}: no key in it", advice)
    for path in keys:
        try:
            key = load_key(path)
        except ArchiveError:
            continue
        if signed_by is not None and fingerprint(key.public) != signed_by:
            continue
        message = b"drill"
        if Verifier(key.public).holds(key.sign(message), message):
            words = f"{path} signs, fingerprint {fingerprint(key.public)[:16]}"
            return Finding("key", True, words + (": the recorder could go on" if signed_by else ""))
    return Finding("key", False, f"{folder}: none of its {len(keys)} keys signs this archive", advice)


def _behind(archive: Path, entries: int, head_hash: str | None, head_entry: int | None) -> Finding:
    try:
        with ArchiveReader(archive) as reader:
            head = reader.head()
            same = head_entry is not None and reader.entry(head_entry).hash.hex() == head_hash
    except ArchiveError as error:
        return Finding("archive in use", False, str(error))
    if not same:
        return Finding("archive in use", False, "the copy is not of this archive", "look which of the two is right")
    lacks = (0 if head is None else head.seq + 1) - entries
    words = "the copy lacks nothing" if lacks == 0 else f"the copy lacks {lacks} ledger entries made since"
    return Finding("archive in use", True, words)
