"""``python -m press_monitor``: the same as the command ``press-monitor``."""

from press_monitor.cli import main

if __name__ == "__main__":
    main()
