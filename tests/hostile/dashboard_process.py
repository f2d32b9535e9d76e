"""A dashboard's half of the archive in a process of its own: polls as the screens do, asks, and tells what it saw.

``python -m tests.hostile.dashboard_process ARCHIVE COUNT`` prints one JSON object and ends.
"""

from __future__ import annotations

import json
import sys
import threading
import time
from pathlib import Path

from press_monitor.screens.source import Place, Source
from tests.properties.monitor import PRESSES

POLL_S = 0.1


def main(path: Path, count: int) -> dict[str, object]:
    source, beat = Source.at(path, [Place(name, name) for name in PRESSES]), threading.Event()
    troubles, slowest, fates = set(), 0.0, list[str]()
    for number in range(count):
        notice = source.send("note", source.presses[number % 2], f"note {number}", args={"note": str(number)})
        until = time.monotonic() + 12.0
        while time.monotonic() < until:
            source.poll()
            troubles |= {source.trouble} - {""}
            now = next((n for n in source.notices if n.uuid == notice.uuid), notice)
            if now.state != "sent":
                break
            beat.wait(POLL_S)
        slowest = max(slowest, time.monotonic() - notice.at)
        fates.append(f"{now.state} {now.text}".strip())
    source.close()
    return {"fates": fates, "troubles": sorted(troubles), "slowest_s": slowest}


if __name__ == "__main__":
    sys.stdout.write(json.dumps(main(Path(sys.argv[1]), int(sys.argv[2]))))
