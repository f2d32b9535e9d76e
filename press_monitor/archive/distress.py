"""How a recorder whose archive takes nothing still reaches the screens: a small file where the system keeps short-lived
things, which is another disk than the archive's or none at all.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from tempfile import gettempdir

from press_monitor.archive.types import Json

__all__ = ["FRESH_S", "Distress"]

FRESH_S = 10.0
"""Seconds after which what was said is old: who said it says it again each second."""

_MOST_BYTES = 65_536


def _usual_folders() -> Iterator[Path]:
    """The user's own folder for what lives as long as the login, where the system has one, and the temporary one."""
    if here := os.environ.get("XDG_RUNTIME_DIR"):
        yield Path(here) / "press-monitor"
    who = ""
    if sys.platform != "win32":
        who = f"-{os.getuid()}"
    yield Path(gettempdir()) / f"press-monitor{who}"


class Distress:
    """The file of one archive. No call raises: it is the last resort, and there is none behind it.

    Args:
        archive: whose.
        folders: where, the first that takes it; None: where this system keeps such things.
    """

    def __init__(self, archive: Path, folders: tuple[Path, ...] | None = None) -> None:
        self._folders = folders if folders is not None else tuple(_usual_folders())
        self._name = f"{hashlib.sha256(os.fsencode(os.path.realpath(archive))).hexdigest()[:20]}.json"
        self._said = False

    def say(self, told: Mapping[str, Json], utc: float) -> bool:
        """Say so, for `FRESH_S` from `utc`; False where even that cannot be written."""
        self._said = True
        return any(self._write(folder, {**told, "utc": utc}) for folder in self._folders)

    def _write(self, folder: Path, told: Mapping[str, Json]) -> bool:
        try:
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            beside = folder / f"{self._name}.{os.getpid()}"
            beside.write_text(json.dumps(told), "utf-8")
            os.replace(beside, folder / self._name)
        except (OSError, ValueError, TypeError):
            return False
        return True

    def over(self) -> None:
        """Say no more."""
        if not self._said:
            return
        self._said = False
        for folder in self._folders:
            with contextlib.suppress(OSError):
                (folder / self._name).unlink(missing_ok=True)

    def heard(self, now: float) -> dict[str, Json] | None:
        """What is said at `now`, UTC seconds; None where nothing is, or only what is old or another user's."""
        for folder in self._folders:
            try:
                if sys.platform != "win32" and folder.stat().st_uid != os.getuid():
                    continue
                with (folder / self._name).open("rb") as opened:
                    told = json.loads(opened.read(_MOST_BYTES))
                if abs(now - float(told["utc"])) <= FRESH_S:
                    return dict(told)
            except (OSError, ValueError, KeyError, TypeError):
                continue
        return None
