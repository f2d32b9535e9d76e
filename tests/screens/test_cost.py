"""That nothing is drawn without need; what a frame costs is measured in tests/benchmarks/frames.py."""

from dataclasses import replace

from tests.screens.conftest import make_dashboard
from tests.screens.fakes import shop_of


async def test_nothing_is_drawn_while_nothing_changes(monkeypatch):
    from press_monitor.screens.floor import board

    drawn = []
    real = board.draw_lane
    monkeypatch.setattr(board, "draw_lane", lambda view, *a, **k: (drawn.append(view.number), real(view, *a, **k))[1])
    archive = shop_of()
    app = make_dashboard(archive)
    async with app.run_test(size=(80, 24)) as pilot:
        assert sorted(drawn) == [1, 2, 3, 4]
        app.look()
        await pilot.pause()
        assert len(drawn) == 4
        real_states = archive.press_states

        def only_second(known=None):
            return {
                name: state if name == "P2" else replace(state, utc=state.utc - 1.0)
                for name, state in real_states().items()
            }

        monkeypatch.setattr(archive, "press_states", only_second)
        archive.change("P2")
        app.look()
        await pilot.pause()
        assert drawn[4:] == [2]
