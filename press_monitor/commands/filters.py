"""The filters of ``records``: what a certificate can be found by."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, TypeVar, cast

import click

if TYPE_CHECKING:
    from press_monitor.archive.search import FilterArgs

__all__ = ["filter_options", "read_filters"]

VERDICTS = ("pass", "exceptions", "review", "fail", "incomplete")
DAY = click.DateTime(("%Y-%m-%d",))
DAY_S = 86_400.0
Decorated = TypeVar("Decorated", bound=Callable[..., Any])


def filter_options(command: Decorated) -> Decorated:
    """The options that narrow a search; every one that is given must hold."""
    for option in reversed(
        (
            click.option("--number", metavar="N", help="This certificate, or those from 40-60."),
            click.option("--press", metavar="NAME", help="Made on this press."),
            click.option("--recipe", metavar="NAME", help="Cured by this recipe."),
            click.option("--verdict", type=click.Choice(VERDICTS), help="Judged so."),
            click.option("--source", type=click.Choice(["live", "log"]), help="Watched live, or replayed from a log."),
            click.option("--customer", metavar="TEXT", help="The customer's name holds this."),
            click.option("--tire", metavar="TEXT", help="The tire's name holds this."),
            click.option("--tin", metavar="TEXT", help="The tire's identification number holds this."),
            click.option("--serial", metavar="TEXT", help="Its serial holds this."),
            click.option("--job", metavar="TEXT", help="The job's number holds this."),
            click.option("--place", metavar="TEXT", help="The place of the injury holds this."),
            click.option("--lot", metavar="NAME", help="A lot that was used."),
            click.option("--bag", metavar="NAME", help="The bag."),
            click.option("--mat", metavar="NAME", help="A mat."),
            click.option("--probe", metavar="NAME", help="A probe."),
            click.option("--alarm", metavar="KIND", help="An alarm of this kind was raised, such as bag-low."),
            click.option("--inspection", metavar="RESULT", help="Inspected so; any, none."),
            click.option("--comeback", metavar="CAUSE", help="Came back for this; any, none."),
            click.option("--text", metavar="WORDS", help="Every word stands somewhere in the record."),
            click.option("--since", type=DAY, metavar="DAY", help="Started on this day (UTC) or later."),
            click.option("--until", type=DAY, metavar="DAY", help="Started before the end of this day (UTC)."),
            click.option("--limit", type=click.IntRange(1), metavar="N", help="The newest N."),
        )
    ):
        command = option(command)
    return command


def _moment(day: datetime) -> float:
    return day.replace(tzinfo=UTC).timestamp()


def read_filters(given: dict[str, Any]) -> FilterArgs:
    """Options as the reader takes them. Refuses an alarm, a cause or a result that there is not."""
    found: dict[str, Any] = {key: value for key, value in given.items() if value is not None}
    if (number := found.pop("number", None)) is not None:
        span = re.fullmatch(r"(\d{1,12})(?:-(\d{1,12}))?", number.replace(" ", ""))
        if span is None:
            raise click.BadParameter(f"{number!r} is no number and no span such as 40-60", param_hint="--number")
        if span[2] is None:
            found["number"] = int(span[1])
        else:
            found["from_number"], found["to_number"] = int(span[1]), int(span[2])
    if (since := found.pop("since", None)) is not None:
        found["since_utc"] = _moment(since)
    if (until := found.pop("until", None)) is not None:
        found["until_utc"] = _moment(until) + DAY_S
    if "alarm" in found:
        _one_of("--alarm", found["alarm"], _kinds())
    for key in ("inspection", "comeback"):
        if key in found:
            found[key] = " ".join(re.split(r"[\s_-]+", found[key].casefold().strip()))
            _one_of(f"--{key}", found[key], ("any", "none", *_known(key)))
    return cast("FilterArgs", found)


def _kinds() -> tuple[str, ...]:
    from press_monitor.watch.kinds import KINDS

    return tuple(KINDS)


def _known(key: str) -> tuple[str, ...]:
    from press_monitor.archive.entries import CAUSES, RESULTS

    return CAUSES if key == "comeback" else RESULTS


def _one_of(option: str, value: str, known: tuple[str, ...]) -> None:
    if value not in known:
        import difflib

        near = difflib.get_close_matches(value, known, 1)
        hint = f"did you mean {near[0]}?" if near else f"there are: {', '.join(known)}"
        raise click.BadParameter(f"{value!r} is none; {hint}", param_hint=option)
