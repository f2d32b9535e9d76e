"""Starting the recorder at login: what to hand to the system that does it.

Both texts start the recorder by this very Python, with this very shop file and archive. The recorder that finds another
one recording ends by itself, so a dashboard that started one first does no harm.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from xml.sax.saxutils import escape

__all__ = ["SYSTEMD_HINT", "WINDOWS_HINT", "login_recipe", "systemd_unit", "windows_task"]

SYSTEMD_HINT = (
    "Save it as ~/.config/systemd/user/press-monitor.service, then:",
    "  systemctl --user daemon-reload && systemctl --user enable --now press-monitor",
    "For a recorder that starts before anybody logs in: loginctl enable-linger",
)
WINDOWS_HINT = (
    "Save it as press-monitor.xml, then, in a Command Prompt:",
    '  schtasks /Create /TN "press-monitor" /XML press-monitor.xml',
    "This text was written from the documentation and has not been run on Windows.",
)


def login_recipe(command: Sequence[str], system: str | None = None) -> tuple[str, tuple[str, ...]]:
    """The text and what to do with it, for ``systemd`` or ``windows``; None: this computer's."""
    if system == "windows" or (system is None and sys.platform == "win32"):
        # Without a console window of its own.
        program = command[0].replace("python.exe", "pythonw.exe")
        return windows_task([program, *command[1:]]), WINDOWS_HINT
    return systemd_unit(command), SYSTEMD_HINT


def _systemd_word(word: str) -> str:
    """A word of a command line, quoted as systemd.service(5) and systemd.unit(5) have it."""
    quoted = word.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%").replace("$", "$$")
    return f'"{quoted}"'


def systemd_unit(command: Sequence[str]) -> str:
    """A user unit of systemd's that keeps the recorder running."""
    return f"""\
[Unit]
Description=press-monitor recorder
Documentation=man:systemd.service(5)

[Service]
Type=exec
ExecStart={" ".join(_systemd_word(word) for word in command)}
Restart=on-failure
RestartSec=5
KillSignal=SIGTERM
TimeoutStopSec=20

[Install]
WantedBy=default.target
"""


def _windows_words(words: Sequence[str]) -> str:
    """Arguments as a program's own parser takes them apart again."""
    from subprocess import list2cmdline

    return list2cmdline(words)


def windows_task(command: Sequence[str]) -> str:
    """A task for the Task Scheduler, version 1.2 of its schema, that starts the recorder when its user logs in."""
    program, arguments = escape(command[0]), escape(_windows_words(command[1:]))
    return f"""\
<?xml version="1.0" encoding="UTF-8"?>
<!-- Not run on Windows yet: written from the documentation of the Task Scheduler schema. -->
<Task version="1.2" xmlns="http://schemas.microsoft.com/windows/2004/02/mit/task">
  <RegistrationInfo>
    <Description>press-monitor recorder</Description>
  </RegistrationInfo>
  <Triggers>
    <LogonTrigger>
      <Enabled>true</Enabled>
    </LogonTrigger>
  </Triggers>
  <Settings>
    <MultipleInstancesPolicy>IgnoreNew</MultipleInstancesPolicy>
    <DisallowStartIfOnBatteries>false</DisallowStartIfOnBatteries>
    <StopIfGoingOnBatteries>false</StopIfGoingOnBatteries>
    <StartWhenAvailable>true</StartWhenAvailable>
    <RestartOnFailure>
      <Interval>PT1M</Interval>
      <Count>999</Count>
    </RestartOnFailure>
    <ExecutionTimeLimit>PT0S</ExecutionTimeLimit>
    <Enabled>true</Enabled>
  </Settings>
  <Actions>
    <Exec>
      <Command>{program}</Command>
      <Arguments>{arguments}</Arguments>
    </Exec>
  </Actions>
</Task>
"""
