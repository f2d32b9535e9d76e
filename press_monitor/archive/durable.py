"""Folders and names that a power cut does not take back, and that are this user's alone from the start.

POSIX modes; on Windows the profile folder keeps others out. What somebody has opened to others stays as it is.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

__all__ = ["make_folder", "private_file", "sync_folder"]


def sync_folder(folder: Path) -> None:
    """Make names in a folder durable: new, changed and gone. Windows does so by itself and opens no folders."""
    if sys.platform != "win32":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def make_folder(folder: Path) -> None:
    """Make a folder with those above it, where they are missing, durably, mode 0700. Raises OSError."""
    missing = [each for each in (folder, *folder.parents) if not each.exists()]
    for made in reversed(missing):
        made.mkdir(mode=0o700, exist_ok=True)
        sync_folder(made.parent)
    folder.mkdir(exist_ok=True)


def private_file(path: Path) -> None:
    """Make an empty file where there is none, mode 0600; SQLite gives its side files the same. Raises OSError."""
    os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
