"""What the README tells people to type after the cure, typed as it stands there."""

from __future__ import annotations

import shlex
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from press_monitor.cli import cli
from press_monitor.paths import HOME_VARIABLE
from tests.test_readme import ROOT, block_after

EXITS = {"replay": 1, "ticket": 1, "stores --trouble": 1}
"""They find a problem, as they should: the bag was never inflated, and a lot has expired."""


def test_the_commands_for_after_the_cure_do_what_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shutil.copytree(ROOT / "simulated_logs", tmp_path / "simulated_logs")
    monkeypatch.setenv(HOME_VARIABLE, str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    told: dict[str, str] = {}
    for line in block_after("command: after"):
        program, *words = shlex.split(line)
        assert program == ".venv/bin/press-monitor"
        ran = CliRunner().invoke(cli, words, prog_name="press-monitor")
        name = " ".join(words[:2]) if words[0] in ("stores", "archive") else words[0]
        assert ran.exit_code == EXITS.get(name, 0), (line, ran.output)
        told[name] = ran.stdout
    assert "SHOULD NOT HAVE BEEN USED" in told["ticket"] and "lot SG-2203 expired on 2020-05-04" in told["ticket"]
    assert "CERTIFICATE 1 CAME BACK" in told["comeback"]
    assert "Long Draw" in told["where-used"] and "Long Draw" in told["records"]
    assert "expired on 2020-05-04" in told["stores --trouble"]
    assert "WHERE BOTH COST THE SAME" in told["worth"]
    assert "verified after writing" in told["archive backup"]
    assert (tmp_path / "copy.sqlite").exists()
