"""What the audits found, as sections: a comeback, what shared a lot, what it is worth, what lies in Stores."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from press_monitor.archive.stores import StoreItem
from press_monitor.audit.comebacks import AttachReport, ComebackReport, JudgedAnew
from press_monitor.audit.comparison import BandCurve, BandFigure, Comparison
from press_monitor.audit.rejudge import Change
from press_monitor.audit.where_used import Rate, WhereUsed
from press_monitor.audit.worth import Worth
from press_monitor.certificate.model import Grid, Item, Pair, Section, Words
from press_monitor.certificate.outcome import VERDICT_WORDS
from press_monitor.quantities import UnitSystem

__all__ = [
    "attach_sections",
    "comeback_sections",
    "say_figure",
    "stores_sections",
    "where_used_sections",
    "worth_sections",
]

MOST_RATES = 15
MOST_REPAIRS = 40


def _percent(share: float | None, digits: int = 1) -> str:
    return "" if share is None else f"{100 * share:.{digits}f} %"


def say_figure(value: float | None, unit: str, units: UnitSystem) -> str:
    """A figure of a comparison in the shop's units; empty where there is none."""
    if value is None:
        return ""
    match unit:
        case "degC":
            return units.say_temperature(value)
        case "K":
            return f"{units.degrees_difference(value):.1f} {units.temperature_sign}"
        case "Pa":
            return units.say_pressure(value)
        case "share":
            return _percent(value)
        case "count":
            return f"{value:.0f}"
    return f"{value:.1f} {unit}"


def _changes(found: Sequence[Change]) -> Iterator[Item]:
    for change in found:
        yield Words(change.words(), bullet=True)


def _anew(anew: JudgedAnew, sealed: str) -> Iterator[Item]:
    if anew.verdict is None:
        yield Words(f"It could not be judged again: {anew.trouble}")
        return
    if not anew.changes:
        yield Words(f"Today's model judges it as it was sealed: {sealed}. Nothing came out differently.")
    else:
        yield Words(f"Today's model says {anew.verdict}; it was sealed as {sealed}. What came out differently:")
        yield from _changes(anew.changes)
    if anew.model_changes:
        yield Words("What differs in the model, the compounds or the program since then:")
        yield from _changes(anew.model_changes)


def _figures(comparison: Comparison, units: UnitSystem) -> Iterator[Item]:
    yield Words(comparison.note + ".")
    shown = [figure for figure in comparison.figures if figure.value is not None or figure.n]
    if shown and comparison.good:
        rows = tuple(_figure(figure, units) for figure in shown)
        yield Grid(("Figure", "This cure", "Low", "Median", "High", ""), rows, numeric=(1, 2, 3, 4))
    for curve in comparison.curves:
        for start, end, side in curve.outside_min:
            yield Words(_span(curve, start, end, side), bullet=True)


def _figure(figure: BandFigure, units: UnitSystem) -> tuple[str, ...]:
    numbers = (figure.value, figure.low, figure.median, figure.high)
    return (
        figure.name,
        *(say_figure(value, figure.unit, units) for value in numbers),
        "OUTSIDE" if figure.outside else "",
    )


def _span(curve: BandCurve, start: float, end: float, side: str) -> str:
    return f"{curve.name} lay {side} the good cures from minute {start:.0f} to {end:.0f}"


def _rates(rates: Sequence[Rate]) -> Iterator[Item]:
    shown = rates[:MOST_RATES]
    rows = tuple(
        (
            f"{rate.kind} {rate.name}",
            f"{rate.counted_back} of {rate.counted}",
            _percent(rate.rate),
            f"{100 * rate.rate_low:.1f}-{100 * rate.rate_high:.1f} %",
            f"{rate.rest_back} of {rate.rest_counted}",
            f"{rate.p_value:.3g}",
            f"{rate.p_adjusted:.3g}",
        )
        for rate in shown
    )
    head = ("Shared", "Came back", "Rate", "95 % interval", "All others", "p", "adjusted")
    yield Grid(head, rows, numeric=(1, 2, 3, 4, 5, 6))
    if len(rates) > len(shown):
        yield Words(f"{len(rates) - len(shown)} more with larger p: --json lists them all.")


def _warnings(warnings: Iterable[str]) -> Iterator[Item]:
    for warning in warnings:
        yield Words(warning, bullet=True)


def comeback_sections(report: ComebackReport, units: UnitSystem) -> tuple[Section, ...]:
    """A comeback and what the archive knows about it."""
    head: tuple[Item, ...] = (
        Pair("Cause", report.cause),
        Pair("Came back", f"{report.day}, {report.age_days} days after the cure"),
        Pair("Ledger entry", "" if report.entry is None else str(report.entry)),
    )
    return (
        Section("comeback", f"Certificate {report.certificate} came back", head),
        Section("anew", "Judged again", tuple(_anew(report.anew, report.sealed_verdict))),
        Section("band", "Beside comparable good cures", tuple(_figures(report.comparison, units))),
        Section("shared", "What it shared with others", (*_rates(report.suspects), *_warnings(report.warnings))),
    )


def where_used_sections(found: WhereUsed) -> tuple[Section, ...]:
    """What shared an item, and how often it came back."""
    rows = tuple(
        (
            str(row.number),
            row.press,
            row.verdict,
            " ".join(part for part in (row.tire, row.section) if part),
            row.customer,
            " ".join(part for part in (row.comeback, row.comeback_day) if part),
        )
        for row in found.repairs[:MOST_REPAIRS]
    )
    repairs: list[Item] = [Grid(("No.", "Press", "Verdict", "Tire", "Customer", "Came back"), rows, numeric=(0,))]
    if len(found.repairs) > MOST_REPAIRS:
        repairs.append(Words(f"{len(found.repairs) - MOST_REPAIRS} older ones: --json lists them all."))
    sections = [
        Section("item", f"{found.item.kind} {found.item.name}", tuple(_rates([found.item]))),
        Section("repairs", f"The repairs that name it: {len(found.repairs)}", tuple(repairs)),
    ]
    if found.others:
        sections.append(Section("others", "What else they used", tuple(_rates(found.others))))
    return (*sections, Section("warnings", "How far this carries", tuple(_warnings(found.warnings))))


def attach_sections(report: AttachReport) -> tuple[Section, ...]:
    """A ticket attached after the cure."""
    items: list[Item] = [
        Words(report.verdict, strong=True),
        Words(VERDICT_WORDS.get(report.verdict, "")),
        *(Words(reason, bullet=True) for reason in report.reasons),
        Pair("Before", report.verdict_before),
        Pair("Ledger entry", str(report.entry)),
    ]
    sections = [Section("verdict", f"Certificate {report.certificate} on its ticket", tuple(items))]
    if report.found:
        sections.append(
            Section("found", "Should not have been used", tuple(Words(w, bullet=True) for w in report.found))
        )
    if report.changes:
        sections.append(Section("changes", "What came out differently", tuple(_changes(report.changes))))
    return tuple(sections)


def worth_sections(found: Worth) -> tuple[Section, ...]:
    """Repair or replace."""
    costs = found.costs
    rate = (
        f"{_percent(found.comeback_rate)} ({100 * found.comeback_rate_low:.1f}-{100 * found.comeback_rate_high:.1f} %)"
        if found.comeback_rate is not None
        else "not known: from 0 to 100 %"
    )
    stands_on = "" if found.comeback_n is None else f", {found.comeback_k} of {found.comeback_n} repairs came back"
    money: list[Item] = [
        Pair("New tire, same life", f"{found.replace_cost:,.2f}"),
        Pair("Repair, comebacks in", "not known" if found.repair_cost is None else f"{found.repair_cost:,.2f}"),
        Pair("Saved by repairing", "not known" if found.saving is None else f"{found.saving:,.2f}"),
        Pair("Saved, at its limits", f"{found.saving_low:,.2f} to {found.saving_high:,.2f}"),
        Pair("Comeback rate", rate + stands_on),
        Pair("Life left", f"{_percent(costs.life, 0)} of a new tire's"),
    ]
    even = [
        Pair("Repair may cost", "no price" if found.break_even_repair is None else f"{found.break_even_repair:,.2f}"),
        Pair("Life left at least", _percent(found.break_even_life) or "no share is enough"),
        Pair("Comeback rate at most", _percent(found.break_even_rate) or "none is low enough"),
    ]
    known = "" if found.comeback_rate is not None else "; comebacks not counted, since their rate is not known"
    said: list[Item] = [Words(found.advice, strong=True), *([Words(found.note + ".")] if found.note else [])]
    return (
        Section("advice", "Repair or replace", tuple(said)),
        Section("money", "What each costs", tuple(money)),
        Section("even", f"Where both cost the same, all else as given{known}", tuple(even)),
    )


def stores_sections(items: Sequence[StoreItem], troubles: Sequence[str | None]) -> tuple[Section, ...]:
    """What lies in Stores; `troubles` says of each why it must not be used today, None where it may."""
    rows = tuple(
        (
            f"{item.kind} {item.name}",
            item.product or item.compound or ("" if item.known else "not entered"),
            str(item.expires or item.calibration_due or ""),
            f"{item.cures_done}" + ("" if item.life_cures is None else f" of {item.life_cures}"),
            "" if trouble is None else trouble.removeprefix(f"{item.kind} {item.name}").lstrip(": "),
        )
        for item, trouble in zip(items, troubles, strict=True)
    )
    if not rows:
        return (Section("stores", "Stores", (Words("Nothing was entered, and no ticket names anything."),)),)
    head = ("Item", "What it is", "Good until", "Cures", "Must not be used")
    return (Section("stores", "Stores", (Grid(head, rows, numeric=(3,)),)),)
