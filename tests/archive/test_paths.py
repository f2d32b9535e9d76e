from __future__ import annotations

from pathlib import Path

import platformdirs
import pytest

from press_monitor.paths import HOME_VARIABLE, Locations, locations


def test_the_users_own_folders() -> None:
    usual = locations({})
    assert usual.settings == Path(platformdirs.user_config_dir("press-monitor", appauthor=False))
    assert usual.archive == Path(platformdirs.user_data_dir("press-monitor", appauthor=False)) / "archive.sqlite"
    assert usual.logs == Path(platformdirs.user_log_dir("press-monitor", appauthor=False))
    assert usual.shop_file == usual.settings / "shop.toml"
    assert usual.key_file.parent.parent == usual.settings


def test_one_folder_for_everything(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(HOME_VARIABLE, str(tmp_path / "home"))
    found = locations()
    assert found == Locations.under(tmp_path / "home")
    for place in (found.shop_file, found.key_file, found.archive, found.backups, found.recorder_log):
        assert tmp_path / "home" in place.parents
    assert not (tmp_path / "home").exists()
    assert found.create() is found
    assert found.logs.is_dir() and found.data.is_dir()


def test_a_home_is_made_absolute(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.chdir(tmp_path)
    assert locations({HOME_VARIABLE: "shop"}).data == tmp_path / "shop"
