"""What the archive keeps and hands out, as plain data, and how it refuses."""

from __future__ import annotations

import json
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

__all__ = [
    "COMMAND_LIFETIME_S",
    "ArchiveError",
    "ArchiveLocked",
    "CertificateRecord",
    "CertificateRow",
    "ChannelMeta",
    "Command",
    "CommandAnswer",
    "CycleStart",
    "DeflatedJson",
    "EventRow",
    "Json",
    "JsonText",
    "LedgerEntry",
    "LiveRow",
    "OpenCycle",
    "PressState",
    "RecorderRow",
    "Save",
    "deflated",
    "inflated",
]

Json = Any
"""Plain JSON: dict, list, str, float, int, bool, None."""


class JsonText(str):
    """JSON that is text already; where the archive takes `Json` it is kept as it stands."""

    __slots__ = ()


class DeflatedJson(bytes):
    """JSON that is deflated already, see `deflated`; where a save is taken it is kept as it stands."""

    __slots__ = ()


def deflated(value: Json) -> DeflatedJson:
    """A watch's state for the archive: a third of its text, in less time than it takes to write the rest."""
    text = value if isinstance(value, JsonText) else json.dumps(value, separators=(",", ":"))
    return DeflatedJson(zlib.compress(text.encode("utf-8"), level=1))


def inflated(data: bytes) -> Json:
    """The value again. Raises ValueError for what is not deflated JSON."""
    try:
        return json.loads(zlib.decompress(data))
    except zlib.error as e:
        raise ValueError(f"not deflated: {e}") from e


LiveRow = tuple[int, int, Sequence[int | None]]
"""Row number, scaled time, scaled values in the order of the cycle's channels; None where one has no value."""

COMMAND_LIFETIME_S = 10.0
"""A command older than this is never carried out, whatever its own expiry says."""


class ArchiveError(Exception):
    """The archive cannot be used or refuses; the message is one line fit for the operator."""


class ArchiveLocked(ArchiveError):
    """Someone else holds the archive for writing. Fields are None where the holder left no note."""

    def __init__(self, path: Path, holder: str | None, pid: int | None, version: str | None) -> None:
        who = holder or "another program"
        process = f", process {pid}" if pid is not None else ""
        release = f", version {version}" if version else ""
        super().__init__(f"{path}: held by {who}{process}{release}")
        self.path = path
        self.holder = holder
        self.pid = pid
        self.version = version


@dataclass(frozen=True, slots=True)
class ChannelMeta:
    """One channel of a cycle. Its kept integers n mean ``n / 10**decimals`` in `unit`, e.g. ``degF``, ``psi``."""

    name: str
    unit: str
    decimals: int


@dataclass(frozen=True, slots=True)
class CycleStart:
    """How a cycle began: all that is needed to judge its rows again.

    Attributes:
        cycle_id: a UUID's 32 hex digits.
        press: the press's name.
        started_utc: seconds since 1970, UTC, at the cycle's own zero.
        source: ``live`` or ``log``.
        recipe, repair, ticket: as the watch got them; None where there was none.
        channels: in the order of the rows' values.
        time_decimals: rows' times are integers in units of ``10**-time_decimals`` s.
        setup: whatever else the watch needs to be made again.
    """

    cycle_id: str
    press: str
    started_utc: float
    source: str
    recipe: Json
    repair: Json | None
    ticket: Json | None
    channels: tuple[ChannelMeta, ...]
    time_decimals: int
    setup: Json


@dataclass(frozen=True, slots=True)
class RecorderRow:
    """Who records. A reader tells silence by `beats` standing still on the reader's own clock."""

    holder: str
    host: str
    pid: int
    version: str
    started_utc: float
    heartbeat_utc: float
    beats: int
    stopped_utc: float | None
    """Set when the recorder stopped in good order."""


@dataclass(frozen=True, slots=True)
class PressState:
    """What a press last was: the watch's snapshot as JSON; `cycle_id` is None for an empty press."""

    press: str
    cycle_id: str | None
    utc: float
    snapshot: Json


@dataclass(frozen=True, slots=True)
class OpenCycle:
    """A cycle not sealed yet, with its newest row number (-1: none)."""

    start: CycleStart
    last_seq: int


@dataclass(frozen=True, slots=True)
class EventRow:
    """One event: `number` rises over the whole archive, `t` on the cycle's axis, `event` as the watch gave it."""

    number: int
    cycle_id: str | None
    t: float
    utc: float
    kind: str
    event: Json


@dataclass(frozen=True, slots=True)
class Save:
    """A watch's saved state as of row `seq` at `t` seconds on the cycle's axis."""

    cycle_id: str
    seq: int
    t: float
    save: Json


@dataclass(frozen=True, slots=True)
class Command:
    """What an operator asks of the recorder. Dead after `COMMAND_LIFETIME_S`."""

    uuid: str
    issued_utc: float
    expires_utc: float
    operator: str
    press: str | None
    cycle_id: str | None
    alarm_id: str | None
    kind: str
    args: Json

    def live(self, now_utc: float) -> bool:
        """Whether it may be carried out at `now_utc`: neither too old nor from the future (a stepped clock)."""
        ends = min(self.expires_utc, self.issued_utc + COMMAND_LIFETIME_S)
        return self.issued_utc - COMMAND_LIFETIME_S <= now_utc < ends


@dataclass(frozen=True, slots=True)
class CommandAnswer:
    """What became of a command: ``done``, ``refused`` or ``expired``, with words and a time."""

    answer: str
    text: str
    utc: float


@dataclass(frozen=True, slots=True)
class LedgerEntry:
    """One signed entry; `body` is the exact bytes that were hashed, `content` what they say."""

    seq: int
    kind: str
    certificate: int | None
    body: bytes
    hash: bytes
    signature: bytes
    content: Json


@dataclass(frozen=True, slots=True)
class CertificateRow:
    """One line of the derived index of cure records. Times are UTC seconds."""

    number: int
    entry: int
    cycle_id: str
    press: str
    source: str
    started_utc: float
    ended_utc: float
    verdict: str
    reasons: tuple[str, ...]
    recipe: str
    customer: str
    tire: str
    section: str
    state_of_cure: float | None
    inspection: str | None
    comeback: str | None
    """The newest cause, in the trade's words."""
    comeback_day: str | None = None
    job: str = ""
    machine: str = ""
    size: str = ""
    construction: str = ""
    serial: str = ""
    tin: str = ""
    thickness_mm: float | None = None
    """Of the thickest stack."""
    hold_min: float | None = None
    state_of_cure_low: float | None = None


@dataclass(frozen=True, slots=True)
class CertificateRecord:
    """Certificate N: its sealed cure record and the later entries that name it, oldest first."""

    number: int
    sealed: LedgerEntry
    later: tuple[LedgerEntry, ...]
    as_of: int
    """The newest ledger entry that was looked at."""
    key_fingerprint: str
    """SHA-256 of the archive's public key, hex."""
