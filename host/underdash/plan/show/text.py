"""The plan as text: for a terminal, in bold and colour; piped, plain and of a fixed breadth."""

import io
import shutil
import sys
from collections.abc import Iterable
from typing import Any

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from underdash.plan.show.table import Table, soft
from underdash.plan.show.words import (
    Footnotes,
    amps,
    classes,
    copper,
    draws_most,
    fuse_choice,
    hardest,
    lost,
    margin_mark,
    milliohms,
    minutes,
    number,
    percent,
    remedy,
    short_by,
    signed,
    smallest,
    summary,
    test_limit,
    told_tests,
    volts,
    while_cranking,
)

PIPED, NARROWEST, BROADEST = 110, 80, 120  # columns
_GRAVE = ("act", "watch")  # what stands before the figures; the rest follows them
_TONES = {"act": "bold red", "watch": "bold yellow", "note": "bold cyan", "well": "bold green"}


def terminal_columns() -> int | None:
    """Breadth of the terminal [columns]; None where standard output is none."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else None


def text(report: dict[str, Any], columns: int | None = None) -> str:
    """Everything that `underdash plan` prints.

    report: what `report.as_dict` gives; columns: the terminal's breadth, None where the text is piped.
    """
    terminal = columns is not None
    out = io.StringIO()
    console = Console(
        file=out,
        width=PIPED if columns is None else min(max(columns, NARROWEST), BROADEST),
        force_terminal=terminal,
        color_system="standard" if terminal else None,
        highlight=False,
        emoji=False,
        legacy_windows=False,
    )
    sections = (_verdict, _budget, _shortfalls, _cycling, _cables, _fuses, _classes, _circuits, _paths, _ammeter,
                _notes, _cautions)  # fmt: skip
    for section in sections:
        for part in section(report):
            console.print(part)
    return "\n".join(line.rstrip() for line in out.getvalue().splitlines()) + "\n"


def _head(words: str) -> Text:
    return Text(f"\n{words}", style="bold")


def _verdict(report: dict[str, Any]) -> Iterable[RenderableType]:
    yield Text(f"{report['car']} ({report['file']})", style="bold")
    yield Text(summary(report))
    yield Text("")
    grave = [finding for finding in report["findings"] if finding["weight"] in _GRAVE]
    yield from _told(grave)
    if not grave:
        yield Text("Nothing to act on and nothing to watch. That alone does not prove the car sound.")
    if more := len(report["findings"]) - len(grave):
        yield Text(f"{more} more {'note' if more == 1 else 'notes'} below, after the figures.")


def _notes(report: dict[str, Any]) -> Iterable[RenderableType]:
    light = [finding for finding in report["findings"] if finding["weight"] not in _GRAVE]
    if light:
        yield _head("Notes")
        yield from _told(light)


def _told(findings: Iterable[dict[str, Any]]) -> Iterable[RenderableType]:
    for finding in findings:
        yield Text.assemble((f"[{finding['weight']}] ", _TONES[finding["weight"]]), finding["text"])
        line = f"line {finding['line']}" if finding["line"] else ""
        if evidence := "; ".join(filter(None, (finding["evidence"], line))):
            yield Padding(Text(evidence), (0, 0, 0, 4))


def _budget(report: dict[str, Any]) -> Iterable[RenderableType]:
    marks = [margin_mark(balance, report["limits"]).upper() for balance in report["budget"]["balances"]]
    wanted = percent(report["limits"]["margin_share"])
    thin = f"THIN: less left over than the {wanted} that the file wants." if "THIN" in marks else ""
    yield _head("Load budget at 13.5 V: output against demand")
    yield Table(
        ("speed", "rev/min", "situation", "hot", "cold", "demand", "margin", "", "", "all on", "inrush", "of"),
        [
            (
                balance["speed"],
                f"{balance['engine_rpm']:,.0f}",
                balance["situation"],
                amps(balance["hot_amps"]),
                amps(balance["cold_amps"]),
                amps(balance["sustained_amps"]),
                signed(balance["margin_amps"]),
                signed(None if balance["margin_share"] is None else 100 * balance["margin_share"], 0, "%"),
                mark,
                amps(balance["peak_amps"]),
                amps(balance["inrush_amps"]),
                balance["inrush_of"],
            )
            for balance, mark in zip(report["budget"]["balances"], marks, strict=True)
        ],
        left=(0, 2, 8, 11),
        spare=(11, 10, 9),
        captions=(
            ((3, 4), "Hot, cold: output. Demand: each load's amps times its duty. Margin: hot output less demand."),
            ((8,), thin),
            ((9,), "All on: everything at once, without duty."),
            ((10, 11), "Inrush: with the worst single inrush on top, that of the last one."),
        ),
    )
    tight = min(report["budget"]["balances"], key=lambda balance: balance["margin_amps"])
    yield soft(f"Demand at {tight['speed']}, {tight['situation']}: {draws_most(tight)}.")


def _shortfalls(report: dict[str, Any]) -> Iterable[RenderableType]:
    shortfalls = report["budget"]["shortfalls"]
    if not shortfalls:
        return
    yield _head("Where the battery makes up for it")
    yield Table(
        ("speed", "situation", "short by", "bus", "battery gives", "fan off", "fan on", "75 % after", "50 %"),
        [
            (
                each["speed"],
                each["situation"],
                short_by(-each["margin_amps"]).removesuffix(" short"),
                volts(each["bus_volts"]),
                amps(each["battery_amps"]),
                amps(each["least_amps"]),
                amps(each["most_amps"]),
                minutes(each["to_75_minutes"]),
                minutes(each["to_50_minutes"]),
            )
            for each in shortfalls
        ],
        left=(0, 1),
        spare=(5, 6),
    )
    yield soft("Volts and amps are where the electrical model settles; the minutes count from a full battery.")
    if report["budget"]["remedies"]:
        yield _head("What alone would close the first of them, margin included")
        rows = [(each["kind"], *remedy(each)) for each in report["budget"]["remedies"]]
        yield Table(("change", "now", "needed", ""), rows, left=(0, 3))


def _cycling(report: dict[str, Any]) -> Iterable[RenderableType]:
    cycling = report["budget"]["cycling"]
    if not cycling:
        return
    first = cycling[0]
    yield _head(
        f"A day of {first['stops']} lights, {first['light_s']:.0f} s each, {first['between_s']:.0f} s apart (estimated)"
    )
    yield Table(
        ("situation", "out of the battery", "cycles", "deepest", "life used a day"),
        [
            (
                each["situation"],
                number(each["discharged_ah"], 2, "Ah"),
                number(sum(cycle["count"] for cycle in each["cycles"]), 1),
                percent(max((cycle["depth"] for cycle in each["cycles"]), default=0.0), digits=2),
                percent(each["life_share"], digits=3),
            )
            for each in cycling
        ],
    )


def _cables(report: dict[str, Any]) -> Iterable[RenderableType]:
    yield _head("Cables, the hardest used first")
    rows = []
    for cable in report["cables"]:
        over = "" if cable["passed"] else " OVER"
        rows.append(
            (
                cable["name"],
                cable["gauge"] or milliohms(cable["ohm"]),
                amps(cable["amps"]),
                amps(cable["brief_amps"]) if cable["brief_amps"] > cable["amps"] else "",
                amps(cable["ampacity_amps"]),
                lost(cable["crank_volts" if _cranks(cable) else "drop_volts"]),
                copper(cable["conductor_c"]),
                (percent(cable["used_share"]) if cable["tests"] else "-") + over,
                "; ".join(test_limit(each) for each in told_tests(cable)),
                smallest(cable),
            )
        )
    heads = (
        "cable",
        "gauge",
        "carries",
        "briefly",
        "may carry",
        "drop",
        "copper",
        "used",
        "hardest test, limit",
        "smallest",
    )
    captions = (
        ((9,), "Smallest: the smallest gauge of the same kind that passes every test, and the test that decided."),
        ((4,), "May carry: 33 CFR 183.425 Table 5 by insulation class, for its ambient and bundle."),
        ((5,), "Drop: in the cable itself, at the current of its drop test (crank drop: while cranking)."),
        ((8,), "Path drop: of the whole charge path on that side at full hot output."),
        ((6,), "Copper: an estimate."),
    )
    yield Table(heads, rows, left=(0, 8, 9), spare=(3, 6, 5), captions=captions)
    if told := while_cranking(report):
        yield soft(told)


def _cranks(cable: dict[str, Any]) -> bool:
    """True if the test that is told first is that of cranking."""
    first = hardest(cable)
    return first is not None and first["name"] == "crank drop"


def _fuses(report: dict[str, Any]) -> Iterable[RenderableType]:
    fused = [cable for cable in report["cables"] if cable["fuse"] is not None]
    if not fused:
        return
    yield _head("Fuses")
    notes = Footnotes()
    rows = [
        (
            cable["name"],
            amps(cable["fuse_amps"], "none in the file"),
            fuse_choice(cable),
            notes.brief(cable["fuse"]["place"]),
        )
        for cable in fused
    ]
    yield Table(("cable", "fitted", "take (least to most)", "where"), rows, left=(0, 3))
    yield from (soft(f"[{number}] {note}") for number, note in notes.listed)


def _classes(report: dict[str, Any]) -> Iterable[RenderableType]:
    rows = []
    for cable in report["cables"]:
        allowed = classes(cable)
        if 105 in allowed:
            rows.append(
                (
                    cable["name"],
                    cable["gauge"] or "",
                    number(cable["ambient_c"], 0, "°C"),
                    amps(cable["amps"]),
                    amps(allowed.get(75), "too hot for it"),
                    amps(allowed[105]),
                    signed(cable["gain_of_105_amps"]),
                )
            )
    if rows:
        yield _head("What 105 °C insulation allows over 75 °C, same gauge, same place")
        yield Table(("cable", "gauge", "ambient", "carries", "75 °C", "105 °C", "more"), rows)


def _circuits(report: dict[str, Any]) -> Iterable[RenderableType]:
    if not report["circuits"]:
        return
    yield _head("Drop of each load's own circuit, supply and ground together")
    rows = [
        (
            each["load"],
            amps(each["amps"]),
            lost(each["supply_volts"], "not in the file"),
            lost(each["ground_volts"], "not in the file"),
            lost(each["drop_volts"]),
            volts(each["limit_volts"]),
            "" if each["passed"] else "OVER",
        )
        for each in report["circuits"]
    ]
    yield Table(("load", "draws", "supply", "ground", "together", "limit", ""), rows)


def _paths(report: dict[str, Any]) -> Iterable[RenderableType]:
    path = report["charge_path"]
    yield _head(f"Charge path and grounds at full output, {amps(path['output_amps'])}")
    rows = [
        (
            drop["name"],
            amps(drop["amps"]),
            milliohms(drop["ohm"]),
            volts(drop["volts"]),
            volts(drop["limit_volts"], "none"),
            "OVER" if drop["passed"] is False else "",
        )
        for drop in path["drops"]
    ]
    yield Table(("from, to", "carries", "resistance", "drop", "limit", ""), rows)
    yield soft(
        f"Of {volts(path['set_point_volts'])} at the regulator {volts(path['battery_volts'])} reach the battery's "
        f"posts; sensed at the battery, {volts(path['sensed_at_battery_volts'])}."
    )
    without = volts(path["ground_without_added_volts"], "nothing else leads from the engine to the battery")
    yield soft(f"Ground side without the ground cables that the conversion adds: {without}.")
    if path["ground_shares"]:
        shares = ", ".join(f"{each['cable']} {percent(each['share'])}" for each in path["ground_shares"])
        yield soft(f"Of the return current each ground cable carries: {shares}.")


def _ammeter(report: dict[str, Any]) -> Iterable[RenderableType]:
    share = report["ammeter"]
    if share is None:
        return
    yield _head("The dash ammeter's share")
    yield Table(
        ("case", "alternator", "loads", "battery", "needle before", "needle after"),
        [
            (
                each["case"],
                amps(each["alternator_amps"]),
                amps(each["loads_amps"]),
                signed(each["battery_amps"]),
                signed(each["before_amps"]) if share["before_known"] else "unknown",
                signed(each["after_amps"]),
            )
            for each in share["needles"]
        ],
    )
    other = share["other_path_ohm"]
    beside = "nothing is added beside it" if other is None else f"beside it {milliohms(other)}"
    before = percent(share["before_share"]) if share["before_known"] else "an unknown part"
    yield soft(
        f"By way of the meter {milliohms(share['meter_path_ohm'])}, {beside}: the meter has "
        f"{before} of a charging current before, {percent(share['after_share'])} after."
    )
    yield soft(
        f"The old loop carries {amps(share['loop_amps'])} at most, {amps(share['loop_alone_amps'])} if the charge "
        f"cable opens; its weakest cable may carry {amps(share['loop_ampacity_amps'], 'an unknown current')}. "
        f"Verdict: {share['verdict']}."
    )


def _cautions(report: dict[str, Any]) -> Iterable[RenderableType]:
    yield _head("Before you touch the car")
    yield Group(*(Padding(Text(f"- {caution}"), (0, 0, 0, 2)) for caution in report["cautions"]))
