"""settings.toml: reading it with the line of every mistake, and writing one to start from."""

import re
from pathlib import Path
from typing import Any

from underdash.problems import DataError
from underdash.settings.catalogue import FIELDS, PARTS, Field, defaults, problems_in
from underdash.toml_file import TomlFile, nearest, shown

Values = dict[str, dict[str, int]]

_TITLES = {
    "thresholds": "What counts as charging, or not. Volts keep this order, hysteresis_mv and more apart:\n"
    "# empty, low_rest, discharging, marginal, healthy, overcharge. And weak_crank stays below crank.",
    "options": "How the board shows itself and saves itself.",
    "pins": "What the board is wired to, by GPIO number. No two may be the same.",
    "calibration": "This one board's two straight lines, as the bench found them. From another board they are wrong.",
}


class SettingsFile:
    """A settings file that has been read: `values` holds what it sets, and nothing else.

    DataError with a line for each mistake; the whole is not checked before `check`.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._file = TomlFile(path, "write NAME = NUMBER below a [table]")
        self.values: Values = {}
        self._problems: list[tuple[int, str]] = []
        for part, given in self._file.document.items():
            self._take(part, given)
        if self._problems:
            raise DataError("\n".join(f"{path} line {line}: {text}" for line, text in sorted(self._problems)))

    def check(self, others: Values | None = None) -> None:
        """Refuse a file that cannot be in force beside `others` (else the defaults): DataError."""
        whole = {part: dict(values) for part, values in (others or defaults()).items()}
        for part, values in self.values.items():
            whole[part].update(values)
        beside = "" if others is None else " (with what the board has for the rest)"
        lines = []
        for problem in problems_in(whole):
            named = set(re.findall(r"\w+", problem))
            at = [self._file.line(part, name) for part, values in self.values.items() for name in named & values.keys()]
            where = f" line {min(at)}" if at else ""
            lines.append(f"{self.path}{where}: {problem}{beside}; {_remedy(problem)}")
        if lines:
            raise DataError("\n".join(lines))

    # -- inside -------------------------------------------------------------------------------

    def _take(self, part: str, given: Any) -> None:
        if part not in PARTS:
            owner = next((owner for owner in PARTS if part in FIELDS[owner]), "")
            if owner:
                self._note(part, "", f"{part} stands in no table; write it below [{owner}]")
            else:
                self._note(part, "", f"no table [{part}]; there are {_listed(PARTS)}{nearest(part, PARTS)}")
            return
        if not isinstance(given, dict):
            self._note(part, "", f"{part} is {shown(given)}: must be a table; write [{part}] on a line of its own")
            return
        for name, value in given.items():
            field = FIELDS[part].get(name)
            if field is None:
                owner = next((owner for owner in PARTS if name in FIELDS[owner]), "")
                remedy = f"; it belongs below [{owner}]" if owner else nearest(name, FIELDS[part]) or (
                    "; `underdash settings new` writes a file with every name")  # fmt: skip
                self._note(part, name, f"no setting {name} in [{part}]{remedy}")
            elif problem := problem_with(field, value):
                self._note(part, name, problem)
            else:
                self.values.setdefault(part, {})[name] = value

    def _note(self, part: str, name: str, text: str) -> None:
        self._problems.append((self._file.line(part, name), text))


def problem_with(field: Field, value: Any) -> str:
    """What is wrong with a setting's value, and what to write; empty if nothing is."""
    if isinstance(value, bool):
        return f"{field.name} is {shown(value)}: must be {field.range}; write {int(value)}"
    if not isinstance(value, int):
        remedy = "write it without quotes or a decimal point"
        if isinstance(value, float) and field.unit == "mV" and field.lowest <= value * 1000 <= field.highest:
            remedy = f"the unit is mV; write {round(value * 1000)}"
        return f"{field.name} is {shown(value)}: must be a whole number, {_range(field)}; {remedy}"
    if not field.lowest <= value <= field.highest:
        remedy = "write a number in this range, or leave the line out"
        if field.unit in ("mV", "ms") and field.lowest <= value * 1000 <= field.highest:
            remedy = f"the unit is {field.unit}; write {value * 1000}"
        return f"{field.name} is {value}: must be {_range(field)}; {remedy}"
    return ""


def _range(field: Field) -> str:
    return f"{field.range} {field.unit}".rstrip()


def _remedy(problem: str) -> str:
    if "must stay below" in problem and "hysteresis" in problem:
        return "move the two apart, or make hysteresis_mv smaller"
    if "must stay below" in problem or "exceed" in problem:
        return "lower the first or raise the second"
    if "each needs its own" in problem:
        return "give one of them another GPIO number"
    return "change this value, or leave its line out"


def _listed(names: tuple[str, ...]) -> str:
    return ", ".join(f"[{name}]" for name in names)


def write_toml(values: Values | None = None) -> str:
    """A settings file that sets `values`, or, without them, one in which every line is a comment."""
    lines = ["# Settings of an Underdash board. Check this file: underdash settings check FILE",
             "# Send it: underdash settings send FILE. What is not set here stays as the board has it."]  # fmt: skip
    for part in PARTS if values is None else values:
        lines += ["", f"# {_TITLES[part]}", f"[{part}]"]
        width = max(len(name) for name in FIELDS[part])
        for name, field in FIELDS[part].items():
            if values is None:
                limits = field.range if part == "pins" else _range(field)
                lines += [f"# {field.meaning}; {limits}, default {field.default}", f"# {name} = {field.default}", ""]
            elif name in values[part]:
                note = f"{field.unit}, {field.meaning}".removeprefix(", ")
                lines.append(f"{name:{width}} = {values[part][name]:<7} # {note}")
        while lines[-1] == "":
            lines.pop()
    return "\n".join(lines) + "\n"


def differences(before: Values, after: Values) -> list[tuple[Field, int, int]]:
    """(field, old, new) for each value that is not the same in both."""
    return [
        (FIELDS[part][name], before[part][name], after[part][name])
        for part in PARTS
        for name in FIELDS[part]
        if name in before.get(part, {}) and name in after.get(part, {}) and before[part][name] != after[part][name]
    ]
