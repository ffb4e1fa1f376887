"""car.toml, read and checked: every mistake with its line and what to write instead."""

from pathlib import Path

from underdash.carfile import devices, quantity, wiring
from underdash.carfile.checks import problems_of
from underdash.carfile.model import CarFile, Limits
from underdash.carfile.table import Notes, Table
from underdash.problems import DataError
from underdash.toml_file import TomlFile

_NEEDED = ("engine", "alternator", "battery")
_TABLES = (*_NEEDED, "load", "cable", "ammeter", "limits", "traffic", "thresholds")


def read(path: Path) -> CarFile:
    """The car that the file at `path` describes.

    Raises UsageError if it cannot be opened, DataError with a line for each mistake.
    """
    file = TomlFile(path, "write NAME = VALUE, words and quantities in quotes")
    if not file.document:
        raise DataError(
            f"{path} line 1: nothing is set here; `underdash plan --new FILE` writes a car file to start from"
        )
    notes = Notes(file)
    top = Table(notes, (), file.document, "the file")
    for table in _TABLES:
        top.take(table)
    name, bus = top.text("name", path.stem), top.text("bus")
    top.end()
    for table in _NEEDED:
        if not top.has(table):
            notes.add((), f"the file has no [{table}]; write that table, as `underdash plan --new FILE` does")
    _stop(notes.found, path)

    def part(name: str) -> Table:
        return Table(notes, (name,), file.document.get(name, {}))

    engine, starter_a = devices.engine(part("engine"))
    light_s, between_s, lights = _traffic(part("traffic"))
    car = CarFile(
        name=name,
        path=path,
        engine=engine,
        alternator=devices.alternator(part("alternator"), notes),
        battery=devices.battery(part("battery")),
        bus=bus,
        starter_a=starter_a,
        loads=devices.loads(notes, file.document.get("load", [])),
        cables=wiring.cables(notes, file.document.get("cable", [])),
        ammeter=wiring.ammeter(part("ammeter")) if top.has("ammeter") else None,
        limits=_limits(part("limits")),
        thresholds=devices.thresholds(part("thresholds")),
        lights_a_day=lights,
        light_s=light_s,
        between_s=between_s,
    )
    _stop(notes.found, path)
    _stop(problems_of(car, file), path)  # the whole is looked at once its parts are right
    return car


def _stop(found: list[tuple[int, str]], path: Path) -> None:
    if found:
        raise DataError("\n".join(f"{path} line {line}: {text}" for line, text in sorted(found)))


def _limits(table: Table) -> Limits:
    default = Limits()
    limits = Limits(
        charge_supply_v=table.quantity("charge_supply", quantity.VOLTAGE, 0.01, 2.0, default.charge_supply_v),
        charge_ground_v=table.quantity("charge_ground", quantity.VOLTAGE, 0.01, 2.0, default.charge_ground_v),
        load_share=table.share("load", 0.001, 0.2, default.load_share),
        crank_v=table.quantity("crank", quantity.VOLTAGE, 0.01, 2.0, default.crank_v),
        margin_share=table.share("margin", 0.0, 1.0, default.margin_share),
    )
    table.end()
    return limits


def _traffic(table: Table) -> tuple[float, float, int]:
    light_s = table.quantity("standing", quantity.TIME, 1.0, 600.0, 30.0)
    between_s = table.quantity("driving", quantity.TIME, 1.0, 3600.0, 60.0)
    lights = table.whole("lights_a_day", 0, 500, 60)
    table.end()
    return light_s, between_s, lights
