"""A clock for tests that goes only when told."""


class HandClock:
    """Monotonic seconds set by hand."""

    def __init__(self, now: float = 1000.0) -> None:
        self.now = now

    def __call__(self) -> float:
        return self.now
