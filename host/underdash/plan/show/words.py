"""How the plan's figures are written, alike in text and on the page."""

from typing import Any

_CAR_V = 12.0  # a cable cannot lose more than there is
_HOTTEST_C = 200.0  # the hottest insulation of the table


def number(value: float | None, digits: int = 1, unit: str = "", missing: str = "-") -> str:
    """A figure with its unit; `missing` where there is none."""
    if value is None:
        return missing
    return f"{round(value, digits) + 0.0:.{digits}f} {unit}".rstrip()


def amps(value: float | None, missing: str = "-") -> str:
    """A current [A], in tenths."""
    return number(value, 1, "A", missing)


def volts(value: float | None, missing: str = "-") -> str:
    """Volts [V], in hundredths."""
    return number(value, 2, "V", missing)


def lost(value: float | None, missing: str = "-") -> str:
    """Volts lost in a cable [V], in hundredths; no more than the car has."""
    return f"over {_CAR_V:.0f} V" if value is not None and value > _CAR_V else volts(value, missing)


def copper(value: float | None, missing: str = "-") -> str:
    """A conductor's temperature [C]; beyond the hottest insulation it is not followed."""
    return f"over {_HOTTEST_C:.0f} °C" if value is not None and value > _HOTTEST_C else number(value, 0, "°C", missing)


def milliohms(value: float | None, missing: str = "-") -> str:
    """A resistance, from [ohm] to milliohms."""
    return number(None if value is None else 1000.0 * value, 2, "mΩ", missing)


def percent(share: float | None, missing: str = "-", digits: int = 0) -> str:
    """A share as per cent."""
    return number(None if share is None else 100.0 * share, digits, "%", missing)


def signed(value: float | None, digits: int = 1, unit: str = "A") -> str:
    """A figure whose sign matters."""
    return "-" if value is None else f"{round(value, digits) + 0.0:+.{digits}f} {unit}"


def minutes(value: float | None) -> str:
    """A length of time [min] in words; None is never."""
    if value is None:
        return "never"
    if value < 119.5:
        return f"{value:.0f} min"
    return f"{value / 60:.0f} h" if value >= 6000 else f"{int(value + 0.5) // 60} h {int(value + 0.5) % 60} min"


def remedy(told: dict[str, Any]) -> tuple[str, str, str]:
    """A remedy's (now, needed, words)."""
    if told["kind"] == "idle speed":
        needed = "no such value" if told["needed"] is None else f"{told['needed']:,.0f} {told['unit']}"
        return f"{told['now']:,.0f} {told['unit']}", needed, told["text"]
    digits = {"pulley ratio": 2}.get(told["kind"], 1)
    return (number(told["now"], digits, told["unit"]), number(told["needed"], digits, told["unit"], "no such value"),
            told["text"])  # fmt: skip


_TESTS = {"conductor temperature": "copper", "load on the fuse": "fuse's load"}


def _tested(told: dict[str, Any]) -> tuple[str, str, str]:
    """A test's (name, value, limit with its unit)."""
    unit = "°C" if told["unit"] == "C" else told["unit"]
    digits = {"V": 2, "°C": 0}.get(unit, 1)
    value = lost(told["value"]) if unit == "V" and told["value"] > _CAR_V else number(told["value"], digits)
    return _TESTS.get(told["name"], told["name"]), value, number(told["limit"], digits, unit)


def test(told: dict[str, Any] | None) -> str:
    """A cable's test with its figures: `drop 0.28 of 0.20 V`."""
    if told is None:
        return "only its ohms are known"
    name, value, limit = _tested(told)
    return f"{name} {value} of {limit}"


def test_limit(told: dict[str, Any] | None) -> str:
    """A cable's test with its limit only: `drop, 0.20 V`; ampacity without, for what it may carry is told anyway.

    The drop of a whole path comes with its value, for the table tells the cable's own.
    """
    if told is None:
        return "no gauge"
    name, value, limit = _tested(told)
    if told["name"] == "path drop":
        return f"{name}, {value} of {limit}"
    return name if name == "ampacity" else f"{name}, {limit}"


def hardest(cable: dict[str, Any]) -> dict[str, Any] | None:
    """The test of a cable that is told first: the gravest that fails, else the one that is used most."""
    return next(iter(cable["tests"]), None)


def told_tests(cable: dict[str, Any]) -> list[dict[str, Any] | None]:
    """The tests of a cable that a row tells: all that fail, the gravest first, else the one that is used most."""
    return [each for each in cable["tests"] if not each["passed"]] or [hardest(cable)]


def smallest(cable: dict[str, Any]) -> str:
    """The smallest gauge that passes every test, and which decided."""
    if cable["gauge"] is None:
        return "-"
    if cable["smallest"] is None and cable["decided_by"] == "path drop":
        return "none alone (path drop)"
    if cable["smallest"] is None:
        return f"none listed ({cable['decided_by']})" if cable["decided_by"] else "none listed"
    return f"{cable['smallest']} ({cable['decided_by']})" if cable["decided_by"] else cable["smallest"]


def classes(cable: dict[str, Any]) -> dict[int, float]:
    """What each insulation class allows this cable [A]."""
    return {each["class_c"]: each["amps"] for each in cable["by_insulation"]}


def fuse_choice(cable: dict[str, Any]) -> str:
    """The fuse to take, with its least and most; a fitted one that passes stays."""
    fuse = cable["fuse"]
    if fuse is None:
        return "-"
    fits = all(test["passed"] for test in cable["tests"] if test["name"] in ("fuse", "load on the fuse"))
    if cable["fuse_amps"] is not None and fits:
        chosen = f"{cable['fuse_amps']:g} A stays"
    else:
        chosen = "none fits: larger cable" if fuse["choice_amps"] is None else f"{fuse['choice_amps']:g} A"
    return f"{chosen} ({fuse['least_amps']:.0f} to {fuse['most_amps']:.0f} A)"


def margin_mark(balance: dict[str, Any], limits: dict[str, Any]) -> str:
    """`short` where output is below demand, `thin` where less is left over than the file wants, else nothing."""
    if balance["margin_amps"] < 0.0:
        return "short"
    share = balance["margin_share"]
    return "thin" if share is not None and share < limits["margin_share"] else ""


def short_by(value: float) -> str:
    """How far output falls short of demand [A]: `21.0 A short`, `just short` where the tenths do not show it."""
    return f"{amps(value)} short" if round(value, 1) > 0.0 else "just short"


def while_cranking(report: dict[str, Any]) -> str:
    """What the cables lose together while the starter turns the engine, in a sentence; empty if it is not known."""
    told = report["cranking"]
    if told is None:
        return ""
    sides = [(side, told[f"{side}_ohm"]) for side in ("supply", "ground") if told[f"{side}_ohm"] is not None]
    ohm = sum(each for _, each in sides)
    parts = ", ".join(f"{side} {milliohms(each)}" for side, each in sides)
    own = ", ".join(
        f"{cable['name']} {lost(cable['crank_volts'])}" for cable in report["cables"] if cable["crank_amps"] > 0.0
    )
    missing = "" if len(sides) == 2 else "; the other side is not in the file"
    each = f" Of each: {own}." if own else ""
    return (
        f"While cranking: volts lost in the cables together {lost(told['drop_volts'])} ({milliohms(ohm)} × "
        f"{amps(told['amps'])}; {parts}{missing}).{each}"
    )


class Footnotes:
    """Long words that several rows share: the row keeps what is its own, and a number; the rest is told once."""

    def __init__(self) -> None:
        self._numbers: dict[str, int] = {}

    def brief(self, words: str) -> str:
        """`words` up to the first semicolon, with the number of the rest."""
        own, _, rest = words.partition("; ")
        return f"{own} [{self._numbers.setdefault(rest, len(self._numbers) + 1)}]" if rest else own

    @property
    def listed(self) -> list[tuple[int, str]]:
        """(number, words) of each."""
        return [(number, rest) for rest, number in self._numbers.items()]


def draws_most(balance: dict[str, Any], most: int = 6) -> str:
    """The loads that draw most on average, in words: `rear heater 23.0 A, fan 6.4 A`."""
    told = [f"{load['name']} {amps(load['sustained_amps'])}" for load in balance["loads"][:most]]
    rest = sum(load["sustained_amps"] for load in balance["loads"][most:])
    return ", ".join([*told, *([f"the other {len(balance['loads']) - most} {amps(rest)}"] if rest else [])])


def summary(report: dict[str, Any]) -> str:
    """The plan in two or three sentences."""
    budget, cables = report["budget"], report["cables"]
    tight = min(budget["balances"], key=lambda balance: balance["margin_amps"])
    where, margin = f"{tight['speed']}, {tight['situation']}", tight["margin_amps"]
    if budget["shortfalls"]:
        worst = budget["shortfalls"][0]
        told = (f"{_begun(short_by(-worst['margin_amps']))} at {worst['speed']}, {worst['situation']}: the battery "
                f"makes up for it and is at 75 % after {minutes(worst['to_75_minutes'])}.")  # fmt: skip
    elif margin < 0.0:  # by so much that no voltage feeds the loads, or by so little that the model sees none of it
        told = f"{_begun(short_by(-margin))} at {where}."
    else:
        told = f"The alternator carries everything; closest at {where}, with {margin:.1f} A left over."
    failed = sum(not cable["passed"] for cable in cables)
    told += f" Of {len(cables)} cables {failed or 'none'} {'fails' if failed in (0, 1) else 'fail'} a test."
    if share := report["ammeter"]:
        told += f" The dash ammeter keeps {percent(share['after_share'])} of the charging current."
    return told


def _begun(words: str) -> str:
    return words[:1].upper() + words[1:]
