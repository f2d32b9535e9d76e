"""The logs in ``simulated_logs``: made again from their seeds, and fit for their purpose."""

import re
import tomllib

import pytest

from drivers.log import read_log
from tests.drivers.make_logs import FOLDER, SCENARIOS, make, readme

TOML = {path.name: tomllib.loads(path.read_text(encoding="utf-8")) for path in FOLDER.glob("*.toml")}


def test_the_folder_holds_what_the_generator_makes_and_nothing_else() -> None:
    assert {path.stem for path in FOLDER.glob("*.csv")} == set(SCENARIOS)
    assert len(SCENARIOS) >= 12
    assert len({scenario.seed for scenario in SCENARIOS.values()}) == len(SCENARIOS)


@pytest.mark.parametrize("name", sorted(SCENARIOS))
def test_each_log_is_made_again_byte_for_byte(name: str) -> None:
    assert (FOLDER / f"{name}.csv").read_bytes() == make(name)


@pytest.mark.parametrize("name", sorted(SCENARIOS))
def test_each_log_says_what_happens_in_it(name: str) -> None:
    path = FOLDER / f"{name}.csv"
    log = read_log(path)
    story = log.comment("what happens") or ""
    assert log.comment("seed") == str(SCENARIOS[name].seed)
    assert log.comment("repair") in TOML and log.comment("recipe") in TOML["shop.toml"]["recipes"]
    assert path.stat().st_size <= 250_000
    for minute, second in re.findall(r"minute (\d+) \((\d+) s\)", story):
        assert int(minute) * 60 == int(second)
        assert log.times[0] <= int(second) <= log.times[-1]
    assert not re.search(r"[{}]|\b0 s\b", story)


def test_the_stories_agree_with_the_readings() -> None:
    def at(name: str, second: float) -> dict[str, float | None]:
        log = read_log(FOLDER / f"{name}.csv")
        index = next(i for i, t in enumerate(log.times) if t >= second)
        return dict(zip((c.name for c in log.columns), log.rows[index], strict=False))

    assert (at("burst-bag", 2098)["bag"] or 0) > 30 > 2 > (at("burst-bag", 2120)["bag"] or 99)
    assert at("open-probe", 3000)["outer_mat"] is None and at("open-probe", 3480)["outer_mat"] is not None
    assert at("open-probe", 2998)["outer_mat"] is not None
    assert (at("dead-mat", 3000)["outer_mat"] or 999) < 200 < 280 < (at("dead-mat", 3000)["inner_mat"] or 0)
    assert (at("lifted-probe", 2760)["inner_mat"] or 999) < 180
    assert (at("slow-leak", 3298)["bag"] or 0) > 35 > 30 > (at("slow-leak", 4500)["bag"] or 99)
    assert (at("late-heat-up", 2400)["outer_mat"] or 999) < 290
    assert all((at("forgotten-bag", second)["bag"] or 0) < 0.5 for second in (60, 1800, 3600))
    gap = read_log(FOLDER / "silent-gap.csv")
    assert not [t for t in gap.times if 2880 <= t < 3300] and 3300 in gap.times
    assert [t for t, row in zip(gap.times, gap.rows, strict=True) if not row] == list(range(4200, 4290, 2))


def test_the_good_cures_end_with_the_bag_down_after_a_cool_down() -> None:
    for name in ("good-thin", "good-thick", "normal-release", "wide-thermostat"):
        log = read_log(FOLDER / f"{name}.csv")
        bag = [c.name for c in log.columns].index("bag")
        assert log.rows[-1] and abs(log.rows[-1][bag] or 0.0) < 1.0
        assert log.time_decimals == 0 and all(len(row) == len(log.columns) for row in log.rows)


def test_the_repairs_are_stacks_of_known_rubber() -> None:
    compounds = TOML["shop.toml"]["compounds"]
    thickness = {}
    for name, repair in TOML.items():
        if name.startswith("repair"):
            assert all(layer.get("compound", "section-gum") in compounds for layer in repair["layers"])
            thickness[name] = sum(float(layer["thickness"].removesuffix(" mm")) for layer in repair["layers"])
    assert thickness == {"repair-thin.toml": 16.0, "repair-44mm.toml": 44.0, "repair-thick.toml": 60.0}
    for scenario in SCENARIOS.values():
        assert thickness[scenario.repair] == scenario.options.get("thickness_mm", 44)


def test_the_readme_lists_them() -> None:
    assert (FOLDER / "README.md").read_text(encoding="utf-8") == readme()
