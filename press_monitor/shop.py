"""The shop file and the repair file, typed.

Both are TOML, quantities are text with a unit. Anything unknown, missing or impossible raises `ShopError`, whose text
is one line naming file, line and key.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from press_monitor.callout import Horn, Phone, read_horn, read_phone, read_port
from press_monitor.cure.compound import Compound
from press_monitor.cure.fitted import FittedRepair, ShopFit, with_fits
from press_monitor.cure.kinetics import activation_energy_from_tc90
from press_monitor.cure.layers import (
    CASING_CONDUCTIVITY,
    CASING_DENSITY,
    CASING_HEAT_CAPACITY,
    FaceKind,
    Layer,
    Repair,
    Stack,
)
from press_monitor.quantities import Dimension, QuantityError, UnitSystem, parse
from press_monitor.shop_fits import read_fit
from press_monitor.tables import ShopError, Table, read_toml
from press_monitor.upkeep import Upkeep, read_upkeep
from press_monitor.watch.kinds import KINDS, AlarmKind
from press_monitor.watch.recipe import BagSupply, Recipe
from press_monitor.watch.types import Priority

__all__ = ["Press", "RepairFile", "Shop", "ShopError", "load_repair", "load_shop", "repair_from_text"]

DEFAULT_AMBIENT = 20.0


@dataclass(frozen=True, slots=True)
class RepairFile:
    """A repair as written: the layers, and the answers only its writer can give."""

    repair: Repair
    mats_overlap: bool | None = None


@dataclass(frozen=True, slots=True)
class Press:
    """One press of the shop, in its fixed place.

    Attributes:
        name: the key in the shop file, e.g. ``P1``.
        title: what people call it.
        driver: a name from the entry-point group ``press_monitor.drivers``.
        recipe: the recipe it usually runs.
        probe_at: ``rubber`` where the mat thermocouple lies against the rubber, ``in-mat`` where it does not.
        channels: what the shop file says of each channel, by channel name, unread.
        options: handed to the driver as they are (``port`` among them).
    """

    name: str
    title: str
    driver: str
    recipe: str
    probe_at: str = "rubber"
    channels: Mapping[str, Table] = field(default_factory=dict)
    options: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Shop:
    """The whole shop file. Altitude m, ambient degC."""

    file: str
    name: str
    units: UnitSystem
    altitude: float
    ambient: float
    compounds: Mapping[str, Compound]
    recipes: Mapping[str, Recipe]
    presses: Mapping[str, Press]
    repairs: Mapping[str, RepairFile]
    alarms: tuple[AlarmKind, ...]
    """The shop's own alarm limits."""
    repair_texts: Mapping[str, str]
    """Each ready-made repair as the text of a repair file, as a start command carries it."""

    horn: Horn | None = None
    phone: Phone | None = None
    fits: tuple[ShopFit, ...] = ()
    """What trials told, in the file's order: of several for the same thing the last counts."""

    upkeep: Upkeep = field(default_factory=Upkeep)
    """How the records are looked after."""

    zone: ZoneInfo | None = None
    """The times of day that screens show; None: those of the computer."""

    def fitted(self, repair: Repair, press: str | None) -> FittedRepair:
        """A repair with this shop's own figures in place of the usual ones, as it lies on a press."""
        return with_fits(repair, self.fits, press)

    def recipe(self, name: str) -> Recipe:
        """A recipe by name. Raises `ShopError` naming those there are."""
        try:
            return self.recipes[name]
        except KeyError:
            known = ", ".join(self.recipes) or "none"
            raise ShopError(self.file, None, f"recipes.{name}", f"no such recipe; there are: {known}") from None

    def press_for(self, recipe: str) -> Press | None:
        """The first press that usually runs a recipe, else the first press, else None."""
        fitting = (press for press in self.presses.values() if press.recipe == recipe)
        return next(fitting, None) or next(iter(self.presses.values()), None)


def load_shop(path: Path) -> Shop:
    """Read a shop file. Raises `ShopError`."""
    root = read_toml(path)
    if not root.has("shop"):
        raise root.error("shop", "is missing: [shop] with name and units")
    shop = root.table("shop")
    name = shop.text("name")
    try:
        units = UnitSystem.named(shop.text("units"))
    except QuantityError as error:
        raise shop.error("units", str(error)) from None
    altitude = shop.maybe("altitude", lambda key: shop.quantity(key, Dimension.LENGTH))
    ambient = shop.maybe("ambient", lambda key: shop.quantity(key, Dimension.TEMPERATURE))
    zone = shop.maybe("time_zone", lambda key: _zone(shop, key))
    if ambient is not None and not -50.0 <= ambient <= 60.0:
        raise shop.error("ambient", "wants the temperature of a shop, from -50 degC to 60 degC")
    if altitude is not None and not -500.0 <= altitude <= 6000.0:
        raise shop.error("altitude", "wants a height above the sea from -500 m to 6000 m")
    shop.done()
    compounds = {key: _compound(key, table) for key, table in root.named("compounds")}
    recipes = {key: _recipe(key, table) for key, table in root.named("recipes")}
    presses = {key: _press(key, table, recipes) for key, table in root.named("presses")}
    alarms = tuple(_alarm(key, table, root) for key, table in root.named("alarms"))
    presets = {key: (table, _repair(table, compounds)) for key, table in root.named("repairs")}
    fits = tuple(read_fit(key, table, compounds, presses) for key, table in root.named("fits"))
    horn = root.maybe("horn", lambda key: read_horn(root.table(key)))
    phone = root.maybe("phone", lambda key: read_phone(root.table(key)))
    upkeep = read_upkeep(root.table("records"))
    root.done()
    return Shop(
        file=str(path),
        name=name,
        units=units,
        altitude=altitude or 0.0,
        ambient=DEFAULT_AMBIENT if ambient is None else ambient,
        compounds=compounds,
        recipes=recipes,
        presses=presses,
        repairs={key: repair for key, (_, repair) in presets.items()},
        alarms=alarms,
        repair_texts={key: _as_toml(table) for key, (table, _) in presets.items()},
        horn=horn,
        phone=phone,
        fits=fits,
        upkeep=upkeep,
        zone=zone,
    )


def _zone(table: Table, key: str) -> ZoneInfo:
    """A time zone by its name in the public table of time zones."""
    name = table.text(key)
    try:
        return ZoneInfo(name)
    except (OSError, ValueError, ZoneInfoNotFoundError):
        raise table.error(key, f'no time zone is called {name!r}; wants a name such as "America/Denver"') from None


def load_repair(path: Path, shop: Shop) -> RepairFile:
    """Read a repair file against the shop's compounds. Raises `ShopError`."""
    return _repair(read_toml(path), shop.compounds)


def repair_from_text(text: str, shop: Shop, name: str = "repair") -> RepairFile:
    """The same from text, as a command carries it."""
    return _repair(read_toml(Path(name), text), shop.compounds)


def _compound(name: str, table: Table) -> Compound:
    reference = table.quantity("reference_temperature", Dimension.TEMPERATURE)
    if not 50.0 <= reference <= 300.0:
        raise table.error("reference_temperature", "is no curing temperature (50 degC to 300 degC)")
    scorch = table.quantity("scorch", Dimension.TIME, above=0.0)
    tc50 = table.quantity("tc50", Dimension.TIME, above=0.0)
    tc90 = table.quantity("tc90", Dimension.TIME, above=0.0)
    if tc90 <= tc50:
        raise table.error("tc90", "must be longer than tc50")
    if scorch >= tc90:
        raise table.error("scorch", "must be shorter than tc90")
    if table.has("tc90_at") == table.has("activation_energy"):
        raise table.error("activation_energy", "give either activation_energy or tc90_at")
    if table.has("tc90_at"):
        energy = _energy_from_two(table.table("tc90_at"), reference, tc90)
    else:
        energy = table.quantity("activation_energy", Dimension.ENERGY_PER_MOLE, above=0.0)
        if energy > 400_000.0:
            raise table.error("activation_energy", "is not the activation energy of a rubber (400 kJ/mol at most)")
    compound = Compound(
        name=name,
        reference_temperature=reference,
        scorch=scorch,
        tc50=tc50,
        tc90=tc90,
        activation_energy=energy,
        blow_point=table.number("blow_point", 0.01, 0.99),
        reversion=table.quantity("reversion", Dimension.TIME, above=0.0),
        water_activity=table.number("water_activity", 0.0, 1.0, 0.5),
        reversion_activation_energy=table.maybe(
            "reversion_activation_energy", lambda key: table.quantity(key, Dimension.ENERGY_PER_MOLE, above=0.0)
        ),
        judged=table.choice("kind", ("one-part", "two-part"), "one-part") == "one-part",
    )
    table.done()
    return compound


def _energy_from_two(table: Table, reference: float, tc90: float) -> float:
    points = {}
    for key in table.data:
        try:
            degC = parse(key, Dimension.TEMPERATURE)
        except QuantityError as error:
            raise table.error(key, str(error)) from None
        if not 50.0 <= degC <= 300.0:
            raise table.error(key, "is no curing temperature (50 degC to 300 degC)")
        points[degC] = table.quantity(key, Dimension.TIME, above=0.0)
    points.setdefault(reference, tc90)
    try:
        return activation_energy_from_tc90(points)
    except ValueError as error:
        raise table.error(None, str(error)) from None


def _recipe(name: str, table: Table) -> Recipe:
    hold = table.quantity("hold_temperature", Dimension.TEMPERATURE)
    tolerance = table.quantity("hold_tolerance", Dimension.TEMPERATURE, above=0.0, difference=True)
    recipe = Recipe(
        name=name,
        hold_temperature=hold,
        hold_tolerance=tolerance,
        maximum_temperature=table.quantity("maximum_temperature", Dimension.TEMPERATURE),
        heat_up_limit=table.quantity("heat_up_limit", Dimension.TIME, above=0.0),
        minimum_hold=table.quantity("minimum_hold", Dimension.TIME, above=0.0),
        required_cure=table.number("required_cure", 0.0, 1.0),
        release_below=table.quantity("release_below", Dimension.TEMPERATURE),
        bag_pressure=table.quantity("bag_pressure", Dimension.PRESSURE, above=0.0),
        bag_minimum=table.quantity("bag_minimum", Dimension.PRESSURE, above=0.0),
        bag_maximum=table.quantity("bag_maximum", Dimension.PRESSURE, above=0.0),
        bag_supply=BagSupply(table.choice("bag_supply", tuple(s.value for s in BagSupply), "regulated")),
    )
    if not 0.0 < recipe.required_cure < 1.0:
        raise table.error("required_cure", "must lie between 0 and 1")
    if recipe.maximum_temperature <= recipe.band_high:
        raise table.error("maximum_temperature", "must be above the hold band")
    if recipe.maximum_temperature > 350.0:
        raise table.error("maximum_temperature", "is beyond any rubber (350 degC at most)")
    if not -20.0 <= recipe.release_below < recipe.band_low:
        raise table.error("release_below", "must be below the hold band, and above -20 degC")
    if recipe.bag_minimum >= recipe.bag_pressure:
        raise table.error("bag_minimum", "must be below bag_pressure")
    if recipe.bag_maximum <= recipe.bag_pressure:
        raise table.error("bag_maximum", "must be above bag_pressure")
    table.done()
    return recipe


def _alarm(name: str, table: Table, root: Table) -> AlarmKind:
    """``[alarms.KIND]``: priority, on_delay, off_delay, deadband in place of the catalogue's."""
    if name not in KINDS:
        raise root.table("alarms").error(name, f"no such alarm; there are: {', '.join(KINDS)}")
    kind = KINDS[name]
    pressure = name.startswith("bag")
    dimension = Dimension.PRESSURE if pressure else Dimension.TEMPERATURE

    def delay(key: str, default: float) -> float:
        seconds = table.quantity(key, Dimension.TIME) if table.has(key) else default
        if not 0.0 <= seconds <= 86_400.0:
            raise table.error(key, "wants a time from 0 s to 24 h")
        return seconds

    own = replace(
        kind,
        priority=Priority(table.choice("priority", tuple(p.value for p in Priority), kind.priority.value)),
        on_delay=delay("on_delay", kind.on_delay),
        off_delay=delay("off_delay", kind.off_delay),
        deadband=table.quantity("deadband", dimension, difference=True) if table.has("deadband") else kind.deadband,
    )
    if own.deadband < 0.0:
        raise table.error("deadband", "must not be negative")
    table.done()
    return own


def _press(name: str, table: Table, recipes: Mapping[str, Recipe]) -> Press:
    recipe = table.text("recipe")
    if recipe not in recipes:
        raise table.error("recipe", f"no recipe {recipe!r}; there are: {', '.join(recipes) or 'none'}")
    options = table.raw("options")
    if table.has("port"):
        read_port(table)
        options["port"] = table.data["port"]
    press = Press(
        name=name,
        title=table.text("title", name),
        driver=table.text("driver"),
        recipe=recipe,
        probe_at=table.choice("probe_at", ("rubber", "in-mat"), "rubber"),
        channels=dict(table.named("channels")),
        options=options,
    )
    table.done()
    return press


def _repair(table: Table, compounds: Mapping[str, Compound]) -> RepairFile:
    has_layers, has_stacks = table.has("layers"), table.has("stacks")
    if has_layers == has_stacks:
        raise table.error("layers", "give either layers or stacks" if has_layers else "is missing")
    if has_layers:
        stacks: tuple[Stack, ...] = (Stack("repair", _layers(table, compounds)),)
    else:
        tables = table.tables("stacks")
        stacks = tuple(_stack(item, compounds) for item in tables)
        for index, item in enumerate(tables):
            if stacks[index].name in [stack.name for stack in stacks[:index]]:
                raise item.error("name", f"another stack is called {stacks[index].name!r} already")
    if not any(layer.compound for stack in stacks for layer in stack.layers):
        raise table.error("layers" if has_layers else "stacks", "no layer names a compound: nothing would cure")
    faces = table.table("faces")
    inner, outer = (FaceKind(faces.choice(side, ("mat", "air"), "mat")) for side in ("inner", "outer"))
    faces.done()
    if inner is outer is FaceKind.AIR:
        raise table.error("faces", "no face lies against a mat")
    conductance = table.maybe("contact_conductance", lambda key: table.quantity(key, Dimension.CONDUCTANCE, above=0.0))
    start = table.maybe("start_temperature", lambda key: table.quantity(key, Dimension.TEMPERATURE))
    if start is not None and not -60.0 <= start <= 150.0:
        raise table.error("start_temperature", "is not the temperature of rubber that still has to cure")
    overlap = table.flag("mats_overlap")
    table.done()
    return RepairFile(Repair(stacks, start, inner, outer, conductance), overlap)


def _stack(table: Table, compounds: Mapping[str, Compound]) -> Stack:
    stack = Stack(table.text("name"), _layers(table, compounds))
    table.done()
    return stack


def _layers(table: Table, compounds: Mapping[str, Compound]) -> tuple[Layer, ...]:
    layers = tuple(_layer(item, compounds) for item in table.tables("layers"))
    if not layers:
        raise table.error("layers", "is empty")
    if min(layer.thickness for layer in layers) < 2e-5:
        raise table.error("layers", "has one thinner than a hair (0.02 mm at least)")
    if sum(layer.thickness for layer in layers) > 0.5:
        raise table.error("layers", "are thicker than half a metre together")
    return layers


def _layer(table: Table, compounds: Mapping[str, Compound]) -> Layer:
    name = table.text("name")
    compound = table.maybe("compound", table.text)
    if compound is not None and compound not in compounds:
        raise table.error("compound", f"no compound {compound!r}; there are: {', '.join(compounds) or 'none'}")

    def of_rubber(key: str, dimension: Dimension, default: float) -> float:
        value = table.quantity(key, dimension, above=0.0) if table.has(key) else default
        if not default / 1000.0 <= value <= default * 10_000.0:
            raise table.error(key, f"{table.data[key]!r} is no property of rubber, cord or steel")
        return value

    layer = Layer(
        name=name,
        thickness=table.quantity("thickness", Dimension.LENGTH, above=0.0),
        compound=None if compound is None else compounds[compound],
        conductivity=of_rubber("conductivity", Dimension.CONDUCTIVITY, CASING_CONDUCTIVITY),
        density=of_rubber("density", Dimension.DENSITY, CASING_DENSITY),
        heat_capacity=of_rubber("heat_capacity", Dimension.HEAT_CAPACITY, CASING_HEAT_CAPACITY),
    )
    table.done()
    return layer


def _as_toml(table: Table) -> str:
    """A ready-made repair as the text of a repair file."""
    import tomlkit

    return tomlkit.dumps(table.data)
