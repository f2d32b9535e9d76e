"""Nothing that only POSIX has is imported on the way to a running recorder or a screen: shop computers run Windows."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
# The modules that the library reference marks "Availability: Unix" (Python 3.11, Unix Specific Services, and curses).
POSIX_ONLY = {
    "curses",
    "fcntl",
    "grp",
    "nis",
    "posix",
    "pty",
    "pwd",
    "readline",
    "resource",
    "spwd",
    "syslog",
    "termios",
}
POSIX_ONLY |= {"crypt", "tty"}
MODULES = sorted(path for folder in ("drivers", "press_monitor") for path in (ROOT / folder).rglob("*.py"))


def always_imported(body: list[ast.stmt]) -> Iterator[str]:
    """What is imported whenever the module is: not what stands in a function, or behind a question of the platform."""
    for node in body:
        if isinstance(node, ast.Import):
            yield from (alias.name.partition(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module.partition(".")[0]
        elif (
            isinstance(node, ast.If)
            and "platform" not in ast.unparse(node.test)
            and "os.name" not in ast.unparse(node.test)
        ):
            yield from always_imported([*node.body, *node.orelse])
        elif isinstance(node, ast.ClassDef | ast.With):
            yield from always_imported(node.body)


def test_no_module_imports_what_only_posix_has() -> None:
    found = {
        str(path.relative_to(ROOT)): POSIX_ONLY & set(always_imported(ast.parse(path.read_text("utf-8")).body))
        for path in MODULES
    }
    assert len(found) > 100
    assert {path: names for path, names in found.items() if names} == {}


@pytest.mark.parametrize(
    ("source", "names"),
    [
        ("import termios", ["termios"]),
        ("if DEBUG:\n    from grp import getgrnam", ["grp"]),
        ("if sys.platform != 'win32':\n    import termios", []),
        ("def f():\n    import grp", []),
    ],
)
def test_the_search_finds_them(source: str, names: list[str]) -> None:
    assert [name for name in always_imported(ast.parse(source).body) if name in POSIX_ONLY] == names
