"""Starting at login: the systemd unit as systemd reads it, the Windows task as XML."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
import xml.etree.ElementTree as ET

import pytest

from press_monitor.recorder.login import systemd_unit, windows_task

COMMAND = [sys.executable, "-m", "press_monitor.recorder", "--shop", '/srv/a shop/100% $HOME "x" \\ & <y>.toml']


def test_systemd_finds_nothing_to_say_about_the_unit(tmp_path):
    if shutil.which("systemd-analyze") is None:
        pytest.skip("systemd-analyze is not installed")

    def verify(text):
        (tmp_path / "press-monitor.service").write_text(text, "utf-8")
        return subprocess.run(
            ["systemd-analyze", "--user", "--man=no", "verify", str(tmp_path / "press-monitor.service")],
            env={**os.environ, "XDG_RUNTIME_DIR": str(tmp_path), "LC_ALL": "C"},
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )

    done = verify(systemd_unit(COMMAND))
    assert (done.returncode, done.stdout + done.stderr) == (0, "")
    assert verify(systemd_unit(["/no/such/program"])).returncode != 0, "the check must be able to fail"


def test_the_units_command_line_comes_apart_as_it_was():
    line = re.search(r"^ExecStart=(.*)$", systemd_unit(COMMAND), re.MULTILINE).group(1)
    assert [word.replace("%%", "%").replace("$$", "$") for word in shlex.split(line)] == COMMAND


def test_the_windows_task_is_xml_and_runs_the_command_for_as_long_as_it_takes():
    text = windows_task(COMMAND)
    space = {"t": "http://schemas.microsoft.com/windows/2004/02/mit/task"}
    root = ET.fromstring(text.encode())

    def found(path):
        return root.find(path, space).text

    assert found("t:Actions/t:Exec/t:Command") == sys.executable
    assert found("t:Actions/t:Exec/t:Arguments") == subprocess.list2cmdline(COMMAND[1:])
    assert found("t:Settings/t:ExecutionTimeLimit") == "PT0S"
    assert found("t:Settings/t:DisallowStartIfOnBatteries") == "false"
    assert root.find("t:Triggers/t:LogonTrigger", space) is not None
    assert "Not run on Windows" in text
