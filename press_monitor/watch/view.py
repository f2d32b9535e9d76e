"""What a watch shows: the snapshot for screens and the result for records, from its state as it stands."""

from __future__ import annotations

from dataclasses import replace

from press_monitor.cure.section import Section
from press_monitor.readings import Role
from press_monitor.watch.cure_facts import cure_json, cure_point, stack_views
from press_monitor.watch.faces import Face
from press_monitor.watch.judge import CureJudge
from press_monitor.watch.outlook import outlook
from press_monitor.watch.plain import Json
from press_monitor.watch.setup import is_mat
from press_monitor.watch.types import AlarmView, CurePoint, FaceView, ForecastView, GateView, Phase, PhaseSpan, Snapshot
from press_monitor.watch.verdict import Evidence, judge

__all__ = ["result_of", "snapshot_of"]

_MINUTE = 60.0
_BESIDE = (Role.AIR, Role.RAM, Role.BURIED, Role.MAT_CURRENT)
"""Shown and not judged by themselves."""


def _section(watch: CureJudge) -> Section | None:
    return watch.curing.section if watch.curing is not None else None


def _face(watch: CureJudge, name: str, before: FaceView | None) -> FaceView | None:
    face: Face | None = next((f for f in watch.faces if f.name == name), None)
    if face is None:
        return None
    t = watch.t
    channel = face.judge(t)
    shown = channel or face.channels[0]
    if before is not None and channel is not None and channel.name == before.channel:
        trend = before.trend_K_min
    else:
        slope = channel.history.slope(t - channel.limit(120.0)) if channel is not None else None
        trend = None if slope is None else _MINUTE * slope
    fresh = shown.value is not None and shown.age(t) <= shown.limit(5.0) and not shown.s.missing_since
    return FaceView(
        channel=shown.name,
        value_degC=shown.value if fresh else None,
        trusted=channel is not None,
        in_band=face.in_band(t),
        trend_K_min=trend,
    )


def _forecast(watch: CureJudge) -> ForecastView | None:
    if watch.curing is None or watch.curing.forecast is None:
        return None
    forecast, age = watch.curing.forecast, watch.t - (watch.curing.s.forecast_at or watch.t)

    def minutes(seconds: float | None) -> float | None:
        return None if seconds is None else max(seconds - age, 0.0) / _MINUTE

    note = "" if forecast.seconds is not None else "the required cure does not come at these mats"
    return ForecastView(
        minutes_left=minutes(forecast.seconds),
        minutes_left_early=minutes(forecast.seconds_early),
        minutes_left_late=minutes(forecast.seconds_late),
        heat_off_now_ends_at=forecast.heat_off_ends_at,
        heat_off_now_low=forecast.heat_off_low,
        heat_off_now_high=forecast.heat_off_high,
        note=note,
    )


def _gate(watch: CureJudge) -> GateView:
    recipe, section = watch.setup.recipe, _section(watch)
    deepest = section.deepest() if section is not None else None
    heat_is_off = watch.phases.phase in (Phase.COOL_DOWN, Phase.RELEASED)
    cured = deepest is not None and deepest.state_of_cure >= recipe.required_cure
    cool = section is not None and section.hottest_now() <= recipe.release_below
    down = _is_down(watch, watch.bag.value(watch.t))
    missing = []
    if not heat_is_off:
        missing.append("heat still on")
    if not cured:
        missing.append("deepest rubber not cured yet")
    if not cool and section is not None:
        say = watch.setup.units.say_temperature
        missing.append(f"hottest rubber {say(section.hottest_now())}, release below {say(recipe.release_below)}")
    if not down:
        missing.append("bag still up")
    return GateView(heat_is_off, cured, cool, down, ", ".join(missing))


def _is_down(watch: CureJudge, bag: float | None) -> bool:
    return bag is not None and bag < 0.2 * watch.setup.recipe.bag_pressure


def _evidence(watch: CureJudge, section: Section | None, *, released: bool) -> Evidence:
    s, setup = watch.s, watch.setup
    deepest = _release_point(watch) if s.release is not None else cure_point(section.deepest() if section else None)
    recorded = {face.name for face in watch.faces}
    return Evidence(
        recipe=setup.recipe,
        units=setup.units,
        ticketed=setup.ticketed,
        has_repair=setup.repair is not None,
        released=released,
        unrecorded_mats=tuple(
            name for name in ("inner", "outer") if is_mat(setup.repair, name) and name not in recorded
        ),
        bag_recorded=watch.bag.channel is not None,
        bag_been_up=watch.bag.been_up,
        hold_s=s.hold_s,
        deepest=deepest,
        reversion_used=s.release["reversion"] if s.release else section.reversion_used() if section else 0.0,
        reversion_possible=s.release.get("reversion_possible", 0.0)
        if s.release
        else watch.curing.reversion_possible
        if watch.curing
        else 0.0,
        set_without_pressure=section.set_without_pressure() if section else 0.0,
        vapour_negative_s=section.vapour_negative_s() if section else 0.0,
        worst_vapour_margin=section.worst_vapour_margin() if section else None,
        distrusted_s=max((watch.curing.s.distrusted_s if watch.curing else 0.0) - watch.instruments.hole_s, 0.0),
        hole_s=watch.instruments.hole_s,
        blind_while_setting_s=s.blind_s,
        probe_optimistic=setup.probe_at == "in-mat"
        and setup.repair is not None
        and setup.repair.contact_conductance is None,
        mats_overlap=setup.mats_overlap,
        overlap_asked=setup.overlap_asked,
        alarms=watch.alarms.views(),
        more_hold_s=s.more_hold if watch.phases.phase in (Phase.COOL_DOWN, Phase.RELEASED) else None,
    )


def _release_point(watch: CureJudge) -> CurePoint | None:
    kept = watch.s.release["cure"]["deepest"]
    return None if kept is None else CurePoint(temperature_degC=0.0, **kept)


def _words(watch: CureJudge, forecast: ForecastView | None, worst: AlarmView | None) -> str:
    """The lane's one plain line."""
    phase = watch.phases.phase
    if worst is not None and worst.cleared_s is None:
        # The alarm says what was wrong with the port as it was raised; the lane says what is wrong now.
        trouble = watch.outside.trouble if worst.kind == "no-readings" else ""
        return trouble or worst.message
    if watch.outside.trouble:
        return watch.outside.trouble
    if phase is Phase.LOADED:
        return "loaded, heat not on yet"
    if phase is Phase.RELEASED:
        return "released"
    section = _section(watch)
    deepest = section.deepest() if section is not None else None
    if phase is Phase.COOL_DOWN:
        cured = deepest is not None and deepest.state_of_cure >= watch.setup.recipe.required_cure
        return "cured, leave the bag up while it cools" if cured else "cooling, leave the bag up: still curing"
    if deepest is None:
        return "no ticket: thickness not known" if not watch.setup.ticketed else "not judged by heat"
    if watch.s.due:
        return "cure is due: heat may go off, leave the bag up"
    if phase is Phase.HEAT_UP:
        return "heating up"
    return "on plan" if forecast is not None and forecast.minutes_left is not None else "holding"


def snapshot_of(watch: CureJudge, before: Snapshot | None = None) -> Snapshot:
    """The snapshot of a watch.

    Of one a few seconds old, what stays as it is until the rubber is looked at again is shown again, and with it the
    trends, the outlook and the verdict so far; unless the phase has changed since or an alarm was raised.
    """
    section, setup, s = _section(watch), watch.setup, watch.s
    recipe, t = setup.recipe, watch.t
    forecast = _forecast(watch)
    alarms = watch.alarms.views()
    if before is not None and _still_holds(watch, before, alarms):
        return _renewed(watch, before, forecast, alarms)
    verdict, reasons = judge(_evidence(watch, section, released=watch.closed))
    compounds = [layer.compound for stack in setup.repair.stacks for layer in stack.layers] if setup.repair else []
    blow = [compound.blow_point for compound in compounds if compound is not None and compound.judged]
    margin = section.worst_vapour_margin() if section else None
    deepest = cure_point(section.deepest()) if section else None
    return Snapshot(
        t=t,
        phase=watch.phases.phase,
        phase_since_s=watch.phases.s.since,
        phases=watch.phases.spans(),
        ticketed=setup.ticketed,
        recipe=recipe.name,
        tire=setup.tire,
        section=setup.section,
        thickness_mm=None if setup.repair is None else 1000.0 * setup.repair.thickness,
        hold_s=s.hold_s,
        hold_needed_s=watch.hold_needed(),
        required_cure=recipe.required_cure,
        blow_point=max(blow) if blow else None,
        band_low_degC=recipe.band_low,
        band_high_degC=recipe.band_high,
        maximum_degC=recipe.maximum_temperature,
        heat_up_limit_s=recipe.heat_up_limit,
        bag_target_Pa=recipe.bag_pressure,
        bag_minimum_Pa=recipe.bag_minimum,
        bag_maximum_Pa=recipe.bag_maximum,
        inner=_face(watch, "inner", None),
        outer=_face(watch, "outer", None),
        bag_Pa=watch.bag.value(t),
        bag_trend_Pa_min=watch.bag.trend(t),
        deepest=deepest,
        hottest=cure_point(section.hottest()) if section else None,
        reversion_used=section.reversion_used() if section else None,
        stacks=stack_views(section),
        forecast=forecast,
        worst_vapour_margin_kPa=None if margin is None else margin / 1000.0,
        set_without_pressure=section.set_without_pressure() if section else None,
        alarms=alarms,
        gate=_gate(watch),
        cure_due=s.due,
        verdict=verdict,
        reasons=reasons,
        words=_words(watch, forecast, watch.alarms.worst()),
        outlook=outlook(watch.phases.phase, forecast, deepest, recipe.required_cure, more_hold_s=s.more_hold),
        port=watch.outside.port,
        extras=_extras(watch),
    )


def _still_holds(watch: CureJudge, before: Snapshot, alarms: tuple[AlarmView, ...]) -> bool:
    """Whether what moves slowly is as it was: neither phase nor alarms, and the rubber not looked at since."""
    looked = watch.curing is not None and watch.curing.s.looked > before.t
    return not looked and before.phase is watch.phases.phase and len(before.alarms) == len(alarms)


def _renewed(
    watch: CureJudge, before: Snapshot, forecast: ForecastView | None, alarms: tuple[AlarmView, ...]
) -> Snapshot:
    """An earlier snapshot with what moves at every reading."""
    bag = watch.bag.value(watch.t)
    gate = before.gate
    return replace(
        before,
        t=watch.t,
        hold_s=watch.s.hold_s,
        hold_needed_s=watch.hold_needed(),
        inner=_face(watch, "inner", before.inner),
        outer=_face(watch, "outer", before.outer),
        bag_Pa=bag,
        forecast=forecast,
        alarms=before.alarms if alarms == before.alarms else alarms,
        gate=gate if gate.bag_is_down is _is_down(watch, bag) else _gate(watch),
        cure_due=watch.s.due,
        words=_words(watch, forecast, watch.alarms.worst()),
        port=watch.outside.port,
        extras=_extras(watch),
    )


def _extras(watch: CureJudge) -> dict[str, float]:
    return {name: c.value for name, c in watch.channels.items() if c.value is not None and c.role in _BESIDE}


def result_of(watch: CureJudge, *, at_release: bool) -> Json:
    """The outcome of a cycle, keys as in ``replay --json``."""
    s, section = watch.s, _section(watch)
    section = None if section is None else section.settled()
    verdict, reasons = judge(_evidence(watch, section, released=watch.closed))
    cure = s.release["cure"] if at_release and s.release is not None else cure_json(section)
    return {
        "verdict": verdict.value,
        "reasons": list(reasons),
        "hold_min": s.hold_s / _MINUTE,
        "release_s": watch.phases.s.released_at,
        "duration_s": None if s.first is None else watch.t - s.first,
        "phases": [_span(span, watch.t) for span in watch.phases.spans()],
        "alarms": [_alarm(view) for view in watch.alarms.views()],
        "cure": cure,
    }


def _span(span: PhaseSpan, end: float) -> Json:
    return {
        "phase": span.phase.value,
        "start_s": span.start_s,
        "end_s": end if span.end_s is None else span.end_s,
    }


def _alarm(view: AlarmView) -> Json:
    return {
        "id": view.id,
        "kind": view.kind,
        "channel": view.channel,
        "priority": view.priority.value,
        "raised_s": view.raised_s,
        "since_s": view.since_s,
        "cleared_s": view.cleared_s,
        "consequence_of": view.consequence_of,
        "message": view.message,
        "advice": view.advice,
    }
