"""The whole monitor under anything in any order; `python -m tests.properties` goes on for as long as it is let."""

from __future__ import annotations

from hypothesis import HealthCheck, Phase, settings

from tests.properties.whole_monitor import WholeMonitor

WholeMonitor.TestCase.settings = settings(
    max_examples=3,
    stateful_step_count=12,
    derandomize=True,
    deadline=None,
    # A failing run is already told step by step; making it shorter takes minutes.
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    report_multiple_bugs=False,
    suppress_health_check=list(HealthCheck),
)
TestWholeMonitor = WholeMonitor.TestCase
