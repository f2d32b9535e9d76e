"""Measure what is promised: ``python -m tests.benchmarks [NAME ...] [--json]``.

Every module of this package but this one is a benchmark: ``NAME`` says what it measures, ``run() -> dict`` gives the
figures and, where there is a promise, ``goal`` (in words) and ``met``. Each compares with a named peer or limit within
one run, so the figures mean something on any computer. The exit status is 1 when a promise was missed.
"""

from __future__ import annotations

import argparse
import importlib
import json
import pkgutil
import sys
from types import ModuleType

import press_monitor  # noqa: F401 - first, since it settles how many threads numpy's linear algebra takes
import tests.benchmarks as package


def benchmarks() -> dict[str, ModuleType]:
    """Every benchmark by its module's name."""
    names = sorted(module.name for module in pkgutil.iter_modules(package.__path__))
    return {name: importlib.import_module(f"{package.__name__}.{name}") for name in names if not name.startswith("_")}


def main(arguments: list[str] | None = None) -> int:
    every = benchmarks()
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description="Measure what is promised.")
    parser.add_argument("name", nargs="*", help=f"any of: {', '.join(every)} (default: all)")
    parser.add_argument("--json", action="store_true", help="print JSON only")
    given = parser.parse_args(arguments)
    if unknown := [name for name in given.name if name not in every]:
        parser.error(f"no benchmark is called {unknown[0]!r}; there are: {', '.join(every)}")
    results = {}
    for name in given.name or every:
        results[name] = every[name].run()
        if not given.json:
            print(f"{name}: {every[name].NAME}")
            for key, value in results[name].items():
                print(f"  {key}: {value:.6g}" if isinstance(value, float) else f"  {key}: {value}")
            sys.stdout.flush()
    if given.json:
        print(json.dumps(results, indent=2))
    return 0 if all(result.get("met", True) for result in results.values()) else 1


if __name__ == "__main__":
    raise SystemExit(main())
