"""The archive: live rows while a cycle lasts, then a packed trace and a signed ledger entry, in one SQLite file.

What is asked of this package is loaded when it is asked for: whoever lists records wants no numpy.
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
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
    "command_answer",
    "epoch_of",
    "new_command",
    "pack",
    "record_body",
    "send_command",
    "unpack",
    "utc_text",
]

_HOME = {
    "commands": ("command_answer", "new_command", "send_command"),
    "ledger": ("RecordError",),
    "reader": ("ArchiveReader",),
    "record": ("epoch_of", "record_body", "utc_text"),
    "trace": ("Trace", "TraceError", "pack", "unpack"),
    "writer": ("Archive",),
}
_MODULE_OF = {name: module for module, names in _HOME.items() for name in names}


def __getattr__(name: str) -> object:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    found = getattr(import_module(f"{__name__}.{_MODULE_OF.get(name, 'types')}"), name)
    globals()[name] = found
    return found
