"""Other sets of thresholds: what was asked for, in words, checked against every limit before a row is judged."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from string import ascii_uppercase

from chargecore import thresholds
from chargecore.thresholds import Thresholds
from underdash.problems import UsageError
from underdash.settings.catalogue import FIELDS
from underdash.toml_file import nearest

Changes = dict[str, int]

MOST_SETS = len(ascii_uppercase)
MOST_VALUES = 100
_FIELDS = FIELDS["thresholds"]
_NUMBER = re.compile(r"[+-]?[0-9]{1,9}")
_SWEEP = re.compile(r"([+-]?[0-9]{1,9})\.\.([+-]?[0-9]{1,9})(?::([+-]?[0-9]{1,9}))?")


@dataclass(frozen=True)
class Sweep:
    """One threshold, and the values that it takes in turn."""

    name: str
    values: tuple[int, ...]


@dataclass(frozen=True)
class Asked:
    """Changes to the set in force, one a set that is to be compared with it; `sweep` if they are a sweep's."""

    sets: tuple[Changes, ...]
    sweep: Sweep | None = None


@dataclass(frozen=True)
class ThresholdSet:
    """A whole set and its name; `changes` are what it has otherwise than the set in force."""

    name: str
    changes: Changes
    thresholds: Thresholds


def asked(changes: Sequence[str], sets: Sequence[str]) -> Asked:
    """What NAME=VALUE and NAME=FROM..TO:STEP ask for. `changes` are made in every one of `sets` (each such words with
    blanks between them), or are the only set. UsageError for what is no threshold, out of its range, or told twice."""
    sweeps: list[Sweep] = []
    common = _read(changes, sweeps)
    if sweeps:
        if len(sweeps) > 1:
            names = " and ".join(sweep.name for sweep in sweeps)
            raise UsageError(f"{names}: two sweeps; sweep one, and give the other a single value")
        if sets:
            raise UsageError(f"{sweeps[0].name}: is swept, so no --set can stand beside it; run the two one by one")
        (sweep,) = sweeps
        return Asked(tuple({**common, sweep.name: value} for value in sweep.values), sweep)
    if len(sets) > MOST_SETS:
        raise UsageError(f"--set: told {len(sets)} times; compare at most {MOST_SETS} sets at once")
    each = []
    for text in sets:
        own = _read(text.split(), None)
        if not own:
            raise UsageError(f'--set "{text}": changes nothing; write NAME=VALUE between the quotes')
        if twice := sorted(own.keys() & common.keys()):
            raise UsageError(f'{twice[0]}: stands before the sets and in --set "{text}"; leave one of the two out')
        each.append({**common, **own})
    if not sets and not common:
        raise UsageError(
            "what-if: say what is to be otherwise, such as discharging_mv=12900; docs/thresholds.md has every name"
        )
    return Asked(tuple(each) if sets else (common,))


def sets_beside(present: Thresholds, wanted: Asked) -> list[ThresholdSet]:
    """The whole sets, `present` with the changes. UsageError for one that contradicts itself."""
    made = []
    for number, changes in enumerate(wanted.sets):
        limits = Thresholds()
        for name, value in {**vars(present), **changes}.items():
            setattr(limits, name, value)
        name = str(wanted.sweep.values[number]) if wanted.sweep else ascii_uppercase[number]
        if problem := thresholds.check(vars(limits)):
            told = " ".join(f"{name}={value}" for name, value in changes.items())
            raise UsageError(f"{told}: {problem}; {_remedy(problem, wanted.sweep)}")
        other = {name: value for name, value in changes.items() if value != getattr(present, name)}
        made.append(ThresholdSet(name, other, limits))
    return made


def _remedy(problem: str, sweep: Sweep | None) -> str:
    if sweep:
        return "sweep within that, or give the other a value beside the sweep"
    return "move the two apart" + (", or make hysteresis_mv smaller" if "hysteresis" in problem else "")


def _read(words: Sequence[str], sweeps: list[Sweep] | None) -> Changes:
    """Names and values; a sweep goes to `sweeps`, None where there can be none."""
    found: Changes = {}
    for word in words:
        name, equals, value = (part.strip() for part in word.partition("="))
        if not equals:
            raise UsageError(f"{word}: is not NAME=VALUE; write such as discharging_mv=12900")
        if name not in _FIELDS:
            near = nearest(name, _FIELDS) or "; docs/thresholds.md has every name"
            raise UsageError(f"{name or word}: no such threshold{near}")
        if name in found or any(sweep.name == name for sweep in sweeps or ()):
            raise UsageError(f"{name}: told twice; once is enough, and --set is for several sets")
        if ".." in value:
            if sweeps is None:
                raise UsageError(f"{word}: a sweep cannot be in --set; write it by itself")
            sweeps.append(Sweep(name, _values(word, name, value)))
        else:
            found[name] = _value(name, value)
    return found


def _values(word: str, name: str, text: str) -> tuple[int, ...]:
    parts = _SWEEP.fullmatch(text)
    if not parts or parts[3] is None:
        raise UsageError(f"{word}: is no sweep; write NAME=FROM..TO:STEP, such as discharging_mv=12600..13000:100")
    first, last = _value(name, parts[1]), _value(name, parts[2])
    step = int(parts[3])
    if step <= 0 or last < first:
        raise UsageError(f"{word}: a sweep goes upwards; write the smaller value first and a step above 0")
    values = tuple(range(first, last + 1, step))
    if len(values) > MOST_VALUES:
        raise UsageError(f"{word}: {len(values)} values; at most {MOST_VALUES}, so make the step larger")
    return values


def _value(name: str, text: str) -> int:
    field = _FIELDS[name]
    limits = f"must be a whole number from {field.lowest} to {field.highest} {field.unit}"
    if not _NUMBER.fullmatch(text):
        raise UsageError(f"{name}={text}: {limits}; {_whole(name, text)}")
    value = int(text)
    if not field.lowest <= value <= field.highest:
        raise UsageError(f"{name}={text}: {limits}; {_whole(name, text)}")
    return value


def _whole(name: str, text: str) -> str:
    """What to write instead."""
    field = _FIELDS[name]
    try:
        thousandths = round(float(text.replace(",", ".")) * 1000)
    except (ValueError, OverflowError):
        thousandths = 0
    if field.unit in ("mV", "ms", "mA") and field.lowest <= thousandths <= field.highest:
        return f"in thousandths it would be {name}={thousandths}"
    return f"the default is {field.default}"
