"""What the README tells people to type, typed as it stands there."""

from __future__ import annotations

import re
from pathlib import Path

from press_monitor.cli import cli

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text("utf-8")


def block_after(mark: str) -> list[str]:
    """The command lines of the code block that follows a mark."""
    found = re.search(rf"<!-- {re.escape(mark)} -->\n```\w+\n(.*?)\n```", README, re.DOTALL)
    assert found, f"README.md has lost the block after {mark!r}"
    return [line for line in found.group(1).splitlines() if line.strip() and not line.startswith("#")]


def only(mark: str) -> str:
    lines = block_after(mark)
    assert len(lines) == 1, f"{mark} is to be one line"
    return lines[0]


def test_each_of_the_two_commands_is_one_line_with_its_windows_form_beside() -> None:
    assert only("command: demo").endswith("press-monitor demo")
    assert only("command: tests").endswith("-m pytest")
    windows = [line for line in README.splitlines() if ".venv\\Scripts\\" in line]
    as_posix = [line.replace("\\", "/").replace(".venv/Scripts", ".venv/bin") for line in windows]
    assert as_posix == [only("command: demo").replace("python3 -m venv", "py -m venv"), only("command: tests")]


def test_every_command_it_names_exists() -> None:
    named = set(re.findall(r"press-monitor ([a-z][a-z-]*)", README))
    assert named
    assert named <= set(cli.commands)


def test_the_alarms_it_lists_are_those_the_watch_knows() -> None:
    from press_monitor.watch.kinds import KINDS

    rows = re.findall(r"^\| (`[a-z-]+`[^|]*) \|", README, re.MULTILINE)
    listed = [kind for row in rows for kind in re.findall(r"`([a-z-]+)`", row)]
    # People are told `above-profile`, of high priority, for what is kept apart inside as above the maximum.
    assert sorted(listed) == sorted(set(KINDS) - {"above-maximum"})


def test_links_lead_somewhere() -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", README):
        if "://" not in target:
            assert (ROOT / target).exists(), target


def test_it_ends_with_the_changelog() -> None:
    assert re.findall(r"^## (.+)$", README, re.MULTILINE)[-1] == "Changelog"
