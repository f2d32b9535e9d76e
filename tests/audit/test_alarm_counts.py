"""Alarms a cure and a week, against the published yardstick; and what other limits make of a log."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from press_monitor.audit.alarm_counts import MOST_IN_TEN_MINUTES, counts_of
from press_monitor.cli import cli

LOGS = Path(__file__).resolve().parents[2] / "simulated_logs"
HOUR = 3600.0
MONDAY = 1_904_515_200.0  # 2030-05-08 00:00 UTC is a Wednesday, two days before it the week begins


def ask(*words: object) -> Result:
    return CliRunner().invoke(cli, [str(word) for word in words])


def test_weeks_begin_on_monday_and_count_what_was_raised_in_their_cures() -> None:
    cures = [
        (MONDAY, MONDAY + 2 * HOUR, 1),
        (MONDAY + 86_400.0, MONDAY + 86_400.0 + HOUR, 2),
        (MONDAY + 6 * 86_400.0, MONDAY + 6 * 86_400.0 + HOUR, 3),
    ]
    counts = counts_of(cures, [(1, "bag-low", 2), (1, "bag-leaking", 1), (3, "heat-lost", 1), (9, "heat-lost", 5)])
    assert [week.monday for week in counts.weeks] == ["2030-05-13", "2030-05-06"]
    first = counts.weeks[1]
    assert (first.cures, first.alarms, first.kinds) == (2, 3, (("bag-low", 2), ("bag-leaking", 1)))
    assert first.per_cure == 1.5 and first.in_ten_minutes == pytest.approx(3 / 18)
    assert counts.total.cures == 3 and counts.total.alarms == 4 and not counts.too_many


def test_the_yardstick_is_the_published_one() -> None:
    # UK HSE, Chemicals Sheet 6 ("Better alarm handling"): "long term average alarm rate in normal operation: no more
    # than one every ten minutes"; read in a copy.
    assert MOST_IN_TEN_MINUTES == 1.0
    at_most = counts_of([(MONDAY, MONDAY + HOUR, 1)], [(1, "bag-low", 6)])
    assert not at_most.too_many
    assert counts_of([(MONDAY, MONDAY + HOUR, 1)], [(1, "bag-low", 7)]).too_many


def test_nothing_cured_is_nothing_to_count() -> None:
    counts = counts_of((), ())
    assert counts.weeks == () and not counts.too_many and counts.total.per_cure == 0.0
    json.dumps(counts.to_json(), allow_nan=False)


def own_limits(tmp_path: Path, *tables: str) -> Path:
    shop = tmp_path / "shop.toml"
    shop.write_text((LOGS / "shop.toml").read_text(encoding="utf-8") + "\n" + "\n".join(tables), encoding="utf-8")
    return shop


def beginning(tmp_path: Path, name: str, until: float) -> Path:
    """A log up to a moment: what is asked of it has happened by then."""
    lines = (LOGS / f"{name}.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    first = next(n for n, line in enumerate(lines) if line.startswith("elapsed_s")) + 1
    (tmp_path / "repair-44mm.toml").write_bytes((LOGS / "repair-44mm.toml").read_bytes())
    (tmp_path / "repair-thin.toml").write_bytes((LOGS / "repair-thin.toml").read_bytes())
    path = tmp_path / f"{name}.csv"
    kept = [line for line in lines[first:] if float(line.split(",", 1)[0]) <= until]
    path.write_text("".join([*lines[:first], *kept]), encoding="utf-8")
    return path


def test_other_limits_show_what_they_would_have_changed(tmp_path: Path) -> None:
    shop = own_limits(
        tmp_path, '[alarms.bag-low]\non_delay = "10 min"', '[alarms.heat-without-pressure]\non_delay = "8 h"'
    )
    log = beginning(tmp_path, "burst-bag", 2760.0)  # the bag bursts at 2100 s
    done = ask("check", "--alarms", log, "--shop", shop, "--json")
    told = json.loads(done.output)
    assert done.exit_code == 1 and told["quieter"] is True
    rows = {row["kind"]: row for row in told["logs"][0]["alarms"]}
    assert rows["bag-burst"]["usual_s"] == rows["bag-burst"]["own_s"]
    assert rows["bag-low"]["own_s"] - rows["bag-low"]["usual_s"] == pytest.approx(585.0)
    assert rows["heat-without-pressure"]["own_s"] is None
    words = ask("check", "--alarms", log, "--shop", shop)
    assert "585 s later" in words.output and "not raised any more" in words.output


def test_usual_limits_change_nothing_and_that_is_fine(tmp_path: Path) -> None:
    done = ask("check", "--alarms", beginning(tmp_path, "good-thin", 1800.0), "--shop", LOGS / "shop.toml")
    assert done.exit_code == 0 and "no alarm" in done.output and "both columns are the usual ones" in done.output


@pytest.mark.parametrize(
    ("head", "says"),
    [("", "--recipe NAME"), ("# recipe: section-300\n", "--repair FILE"),
     ("# recipe: section-300\n# repair: ../other.toml\n", "outside its own folder"),
     ("# recipe: no-such\n# repair: repair-44mm.toml\n", "no-such")],
)  # fmt: skip
def test_a_log_that_does_not_say_what_it_was_is_one_clear_line(tmp_path: Path, head: str, says: str) -> None:
    (tmp_path / "repair-44mm.toml").write_bytes((LOGS / "repair-44mm.toml").read_bytes())
    log = tmp_path / "mine.csv"
    log.write_text(
        head + "elapsed_s,inner_mat[degF],outer_mat[degF],bag[psi]\n0,70,70,0\n1,70,70,0\n", encoding="utf-8"
    )
    done = ask("check", "--alarms", log, "--shop", LOGS / "shop.toml")
    assert done.exit_code == 2 and says in done.output and len(done.output.strip().splitlines()) == 1


def test_logs_want_their_flag() -> None:
    done = ask("check", LOGS / "good-thin.csv")
    assert done.exit_code == 2 and "--alarms" in done.output
