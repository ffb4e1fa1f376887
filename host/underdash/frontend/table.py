"""The proof in words: a table of the cases, the parts' margins, the constants, and what fails and why."""

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from underdash.frontend.checks import IN_HAND, Check
from underdash.frontend.constants import Constants
from underdash.frontend.fullscale import WINDOW, FullScale
from underdash.frontend.parts import Values
from underdash.frontend.proof import CaseResult, Proof


def text(values: Values, proof: Proof, scale: FullScale, found: Constants) -> str:
    """Everything that `underdash frontend` prints."""
    blocks = [_head(values, proof), _cases(proof), _margins(proof), _constants(scale, found), _levels(proof)]
    return "\n\n".join(block for block in [*blocks, _verdict(proof, scale)] if block)


def _head(values: Values, proof: Proof) -> str:
    options = ", ".join(values.fitted) or "none"
    corners = f"{len(proof.corners)} corners of tolerance and temperature" if len(proof.corners) > 1 else "nominal only"
    skipped = f"; not applicable without its option: {', '.join(case.name for case in proof.skipped)}"
    return f"{values.path}, options fitted: {options}; simulated with ngspice, {corners}" + (
        skipped if proof.skipped else ""
    )


def quantity(value: float, unit: str) -> str:
    """A value as a person reads it: three figures, milli and micro where small."""
    if value and abs(value) < 0.1 and unit in ("A", "V", "W", "J"):
        for factor, prefix in ((1e3, "m"), (1e6, "u"), (1e9, "n")):
            if abs(value) * factor >= 1:
                return f"{value * factor:.3g} {prefix}{unit}"
        return f"0 {unit}"
    return f"{value:.3g} {unit}"


def _share(found: Check) -> str:
    return f"{found.share * 100:.0f} %" if found.share < 10 else "far over"


def _cases(proof: Proof) -> str:
    rows = [("case", "what happens", "the board", "closest to a limit", "used", "")]
    for result in proof.results:
        worst = result.worst
        mark = "ok" if not result.failures else "FAILS"
        told = f"{worst.subject}, {worst.what}: {quantity(worst.value, worst.unit)}"
        if worst.limit:
            told += f" of {quantity(worst.limit, worst.unit)}"
        rows.append((result.case.name, _title(result), result.outcome.words, told, _share(worst), mark))
    return _table(rows)


def _title(result: CaseResult) -> str:
    waveform = result.case.waveform
    level = f", level {waveform.level}" if waveform.name.startswith("pulse") else ""
    return result.case.title + level + (" *" if waveform.from_memory else "")


def _margins(proof: Proof) -> str:
    worst: dict[str, Check] = {}
    for result in proof.results:
        for found in result.checks:
            if found.limit and (found.subject not in worst or found.share > worst[found.subject].share):
                worst[found.subject] = found
    rows = [("part", "closest to a limit", "value", "limit", "used", "in case", "corner")]
    for subject, found in worst.items():
        rows.append((subject, found.what, quantity(found.value, found.unit), quantity(found.limit, found.unit),
                     _share(found), found.case, found.corner))  # fmt: skip
    return "Margins, the worst of all cases and corners:\n" + _table(rows)


def _constants(scale: FullScale, found: Constants) -> str:
    low, high = WINDOW
    codes = ", ".join(f"{begin:.2f}" for begin, _ in scale.typical)
    spread = ", ".join(f"{begin:.2f} to {end:.2f}" for begin, end in scale.codes)
    clear = (f"clear in all corners, by {scale.gap * 1000:.0f} mV at least" if scale.clear
             else f"NOT clear in all corners: one reaches in by {-scale.gap * 1000:.0f} mV")  # fmt: skip
    if not scale.fits:
        clear = "NOT measured well: full scale does not fit them"
    return "\n".join((
        f"Full scale {scale.nominal:.3f} V ({scale.lowest:.2f} to {scale.highest:.2f} V over tolerances, 0 to 50 C)",
        f"The converter's wide codes begin at {codes} V; over tolerances they lie within {spread} V",
        f"{low} to {high} V, the volts that matter: {clear}",
        f"The firmware starts with bus_zero {found.bus_zero}, bus_gain_nv {found.bus_gain_nv}, "
        f"clamp_zero {found.clamp_zero}, clamp_gain_ua {found.clamp_gain_ua}",
    ))  # fmt: skip


def _levels(proof: Proof) -> str:
    """Where the numbers of the waveforms come from."""
    lines, seen = [], set()
    for result in proof.results:
        waveform = result.case.waveform
        if waveform.from_memory and waveform.name not in seen:
            seen.add(waveform.name)
            lines.append(f"  {waveform.name}: {', '.join(waveform.from_memory)}")
    return "* numbers known from memory only, not verified:\n" + "\n".join(lines) if lines else ""


def _verdict(proof: Proof, scale: FullScale) -> str:
    lines = [*proof.standing, *scale.problems, *grouped(proof)]
    if not lines:
        return f"Every check passes with at least {IN_HAND * 100:.0f} % in hand."
    return f"{len(lines)} {'check fails' if len(lines) == 1 else 'checks fail'}:\n" + "\n".join(lines)


def grouped(proof: Proof) -> list[str]:
    """One line for each part and limit that fails, whatever the number of cases: the worst of them, worst first."""
    worst: dict[tuple[str, str], list[Check]] = {}
    for found in proof.failures:
        worst.setdefault((found.subject, found.what.partition(",")[0]), []).append(found)
    lines = []
    for each in sorted(worst.values(), key=lambda each: -max(found.share for found in each)):
        top = max(each, key=lambda found: found.share)
        others = f"; in {len(each) - 1} other {'case' if len(each) == 2 else 'cases'} too" if len(each) > 1 else ""
        lines.append(_failure(top) + others)
    return lines


def failures(result: CaseResult) -> list[str]:
    """One line for each check of a case that fails, worst first: which, by how much, and what to change."""
    return [_failure(found) for found in sorted(result.failures, key=lambda found: -found.share)]


def _failure(found: Check) -> str:
    limit = f", limit {quantity(found.limit, found.unit)}" if found.limit else ""
    hand = "" if found.share > 1 else f" (less than {IN_HAND * 100:.0f} % in hand)"
    return (f"{found.case}: {found.subject}, {found.what}: {quantity(found.value, found.unit)}{limit}"
            f"{hand}, at {found.corner}; {found.remedy}")  # fmt: skip


def _table(rows: Sequence[tuple[str, ...]]) -> str:
    widths = [max(len(row[at]) for row in rows) for at in range(len(rows[0]))]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    lines.insert(1, "  ".join("-" * width for width in widths))
    return "\n".join(lines)


def as_dict(values: Values, proof: Proof, scale: FullScale, found: Constants) -> dict[str, Any]:
    """The same for programs. Volts, amps and so on as each check's unit says."""
    return {
        "values": str(values.path),
        "fitted": list(values.fitted),
        "corners": proof.corners,
        "passed": not (proof.failures or proof.standing or scale.problems),
        "cases": [
            {
                "name": result.case.name,
                "title": result.case.title,
                "expect": result.case.expect,
                "outcome": result.outcome.words,
                "off_s": result.outcome.off,
                "passed": not result.failures,
                "worst": _plain(result.worst),
                "checks": [_plain(check) for check in result.checks],
                "waveform": {
                    name: {"value": figure.value, "unit": figure.unit, "source": figure.source}
                    for name, figure in result.case.waveform.figures.items()
                },
            }
            for result in proof.results
        ],
        "skipped": [case.name for case in proof.skipped],
        "full_scale": asdict(scale) | {"window": list(WINDOW), "clear": scale.clear, "fits": scale.fits,
                                        "gap_volts": scale.gap},
        "constants": asdict(found) | {
            "bus_zero": found.bus_zero, "bus_gain_nv": found.bus_gain_nv,
            "clamp_zero": found.clamp_zero, "clamp_gain_ua": found.clamp_gain_ua,
        },
        "failures": [*proof.standing, *scale.problems,
                     *(line for result in proof.results for line in failures(result))],
    }  # fmt: skip


def _plain(found: Check) -> dict[str, Any]:
    return asdict(found) | {"passed": found.passed, "share": min(found.share, 1e6)}
