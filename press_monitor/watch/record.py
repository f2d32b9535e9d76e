"""What a record says of the model that judged it."""

from __future__ import annotations

from dataclasses import asdict

from press_monitor.cure.conduction import DEFAULT_NODES
from press_monitor.cure.limits import Limits
from press_monitor.cure.walls import FAST_LOSS, SHOP_AIR
from press_monitor.watch.plain import Json

__all__ = ["MODEL_VERSION", "model_json"]

MODEL_VERSION = 3
"""Raised with every change that can change a judgement."""


def model_json(setup: Json = None) -> Json:
    """The model's name, version and parameters, as a record keeps them; `setup` is a watch's setup as JSON."""
    limits = (setup or {}).get("limits") or asdict(Limits())
    return {
        "version": MODEL_VERSION,
        "conduction": "one-dimensional layers, exact in time for faces that move linearly between readings",
        "nodes": DEFAULT_NODES,
        "state_of_cure": "Isayev-Deng through tc50 and tc90 on Arrhenius equivalent time",
        "band": {name: list(value) for name, value in limits.items()},
        "shop_air_W_m2_K": SHOP_AIR,
        "fast_loss_W_m2_K": FAST_LOSS,
        "fits": list((setup or {}).get("fits") or ()),
    }
