"""The archive: live rows while a cycle lasts, then a packed trace and a signed ledger entry, in one SQLite file."""

from press_monitor.archive.backup import backup
from press_monitor.archive.commands import command_answer, new_command, send_command
from press_monitor.archive.ledger import RecordError
from press_monitor.archive.reader import ArchiveReader
from press_monitor.archive.record import epoch_of, record_body, utc_text
from press_monitor.archive.trace import Trace, TraceError, pack, unpack
from press_monitor.archive.types import (
    COMMAND_LIFETIME_S,
    ArchiveError,
    ArchiveLocked,
    CertificateRecord,
    CertificateRow,
    ChannelMeta,
    Command,
    CommandAnswer,
    CycleStart,
    EventRow,
    Json,
    LedgerEntry,
    LiveRow,
    OpenCycle,
    PressState,
    RecorderRow,
    Save,
)
from press_monitor.archive.writer import Archive

__all__ = [
    "COMMAND_LIFETIME_S",
    "Archive",
    "ArchiveError",
    "ArchiveLocked",
    "ArchiveReader",
    "CertificateRecord",
    "CertificateRow",
    "ChannelMeta",
    "Command",
    "CommandAnswer",
    "CycleStart",
    "EventRow",
    "Json",
    "LedgerEntry",
    "LiveRow",
    "OpenCycle",
    "PressState",
    "RecordError",
    "RecorderRow",
    "Save",
    "Trace",
    "TraceError",
    "backup",
    "command_answer",
    "epoch_of",
    "new_command",
    "pack",
    "record_body",
    "send_command",
    "unpack",
    "utc_text",
]
