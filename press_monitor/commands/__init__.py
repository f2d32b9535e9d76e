"""Commands of the command line, a module a subject; `press_monitor.cli` gathers them."""
