"""The tests. Ours comes first: it settles how many threads numpy's linear algebra takes, before numpy is imported."""

import press_monitor  # noqa: F401
