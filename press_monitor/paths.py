"""Where things lie on this computer: the settings, the archive, the log files.

``PRESS_MONITOR_HOME`` names one folder that then holds everything; the demo and the tests use it.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import platformdirs

__all__ = ["HOME_VARIABLE", "Locations", "locations"]

HOME_VARIABLE = "PRESS_MONITOR_HOME"
_NAME = "press-monitor"


@dataclass(frozen=True, slots=True)
class Locations:
    """The three folders and the files in them. Nothing here need exist yet.

    Attributes:
        settings: the shop file and the signing key.
        data: the archive and its backups.
        logs: what the recorder and the dashboards say about themselves.
    """

    settings: Path
    data: Path
    logs: Path

    @classmethod
    def under(cls, home: Path) -> Locations:
        """Everything in one folder."""
        return cls(home, home, home / "logs")

    @property
    def shop_file(self) -> Path:
        """The shop file."""
        return self.settings / "shop.toml"

    @property
    def key_file(self) -> Path:
        """The private key that signs the ledger; its public half lies beside it as ``ledger.pub``."""
        return self.settings / "keys" / "ledger.key"

    @property
    def archive(self) -> Path:
        """The archive."""
        return self.data / "archive.sqlite"

    @property
    def backups(self) -> Path:
        """The folder for copies of the archive."""
        return self.data / "backups"

    @property
    def recorder_log(self) -> Path:
        """What the recorder says."""
        return self.logs / "recorder.log"

    def create(self) -> Locations:
        """Make the folders where they are missing; returns itself. Raises OSError."""
        for folder in (self.settings, self.data, self.logs):
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        return self


def locations(environ: Mapping[str, str] = os.environ) -> Locations:
    """This user's folders; `environ` may name a home of its own under `HOME_VARIABLE`."""
    if home := environ.get(HOME_VARIABLE):
        return Locations.under(Path(home).expanduser().absolute())
    dirs = platformdirs.PlatformDirs(_NAME, appauthor=False)
    return Locations(dirs.user_config_path, dirs.user_data_path, dirs.user_log_path)
