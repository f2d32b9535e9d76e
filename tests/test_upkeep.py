"""``[records]`` of the shop file."""

from __future__ import annotations

from pathlib import Path

import pytest

from press_monitor.shop import ShopError, load_shop
from press_monitor.upkeep import Upkeep
from tests.shopfiles import SHOP


def upkeep_of(tmp_path: Path, text: str) -> Upkeep:
    path = tmp_path / "shop.toml"
    path.write_text(f"{SHOP}\n{text}", "utf-8")
    return load_shop(path).upkeep


def test_without_it_a_copy_a_day_is_kept_for_a_fortnight(tmp_path: Path) -> None:
    assert upkeep_of(tmp_path, "") == Upkeep(None, 86_400.0, 14, 90, False) == upkeep_of(tmp_path, "[records]\n")


def test_all_of_it(tmp_path: Path) -> None:
    text = """[records]
backup = true
backup_folder = "E:/copies"
backup_every = "6 h"
backup_keep = 30
old_enough_days = 180
figures_by_person = true
"""
    assert upkeep_of(tmp_path, text) == Upkeep(Path("E:/copies"), 21_600.0, 30, 180, True)
    assert upkeep_of(tmp_path, '[records]\nbackup = false\nbackup_every = "6 h"\n').backup_every is None


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ('backup_every = "5 min"', "backup_every: wants a time from 1 h to 744 h"),
        ('backup_every = "5 psi"', "backup_every: 'psi' in '5 psi' is not a unit of time"),
        ("backup_keep = 0", "backup_keep: wants a number from 1 to 1000"),
        ("backup_keep = 2.5", "backup_keep: wants a whole number"),
        ('backup_folder = " "', "backup_folder: is empty"),
        ("backup = 1", "backup: wants true or false"),
        ("figures_by_person = 1", "figures_by_person: wants true or false"),
        ("figures_by_persons = true", "is not a known key; did you mean figures_by_person?"),
    ],
)
def test_mistakes_are_named(tmp_path: Path, line: str, says: str) -> None:
    with pytest.raises(ShopError) as refused:
        upkeep_of(tmp_path, f"[records]\n{line}\n")
    assert says in str(refused.value) and "records" in str(refused.value)
