"""The plan as one HTML page that needs nothing but itself: no network, no script, no fonts."""

from typing import Any

from markupsafe import Markup

from underdash.page import template
from underdash.plan.ammeter.drawing import drawing
from underdash.plan.ammeter.marks import FLOW, GIVES, INK, PAPER, RULE, SOFT
from underdash.plan.report import as_dict
from underdash.plan.results import Plan
from underdash.plan.show import words
from underdash.plan.show.figures import charge_svg, output_svg
from underdash.plan.show.wiring import picture

# In the page the ammeter's drawing follows the light or dark scheme; on its own it keeps its plain colours.
_IN_PAGE = {INK: "currentColor", SOFT: "var(--soft)", RULE: "var(--rule)", PAPER: "var(--card)", FLOW: "var(--note)",
            GIVES: "var(--act)", "#cfd6e0": "var(--rule)"}  # fmt: skip
_WIDEST = 1.6  # share of its limit at which a cable's bar is as long as there is room for


def render(plan: Plan) -> str:
    """The whole page."""
    report = as_dict(plan)
    filters = {name: getattr(words, name) for name in
               ("amps", "volts", "lost", "copper", "milliohms", "percent", "minutes", "remedy", "test", "told_tests",
                "smallest", "classes", "fuse_choice", "draws_most", "margin_mark", "short_by")}  # fmt: skip
    return template("plan/show/plan.html.j2", **filters, figure=words.number, signed=_signed, bar=_bar).render(
        report=report,
        footnotes=words.Footnotes,
        summary=words.summary(report),
        cranking=words.while_cranking(report),
        limit=f"{100 / _WIDEST:.2f}%",
        output=Markup(output_svg(plan.budget)),
        charge=Markup(charge_svg(plan.budget)),
        wiring=Markup(_wiring(plan, report)),
        ammeter=Markup(_ammeter(plan)),
    )


def _signed(value: float | None, digits: int = 1, unit: str = "A") -> str:
    return words.signed(value, digits, unit).replace("-", "\u2212")


def _bar(used: float | None) -> str:
    """How long a cable's bar is."""
    return f"{100 * min(1.0 if used is None else used / _WIDEST, 1.0):.1f}%"


def _wiring(plan: Plan, report: dict[str, Any]) -> str:
    flows = {cable["name"]: _flow(cable) for cable in report["cables"]}
    faults = {
        cable["name"]: [words.test(each) for each in words.told_tests(cable)]
        for cable in report["cables"]
        if not cable["passed"]
    }
    return picture(plan.car, flows, faults)


def _flow(cable: dict[str, Any]) -> str:
    if cable["amps"] < 0.05:
        return f"{cable['brief_amps']:.0f} A briefly" if cable["brief_amps"] >= 0.05 else ""
    return f"carries {words.number(cable['amps'], 0 if cable['amps'] >= 10 else 1, 'A')}"


def _ammeter(plan: Plan) -> str:
    if plan.ammeter is None:
        return ""
    text = drawing(plan.ammeter, plan.car).replace(' xmlns="http://www.w3.org/2000/svg"', "", 1)
    for plain, scheme in _IN_PAGE.items():
        text = text.replace(f'"{plain}"', f'"{scheme}"')
    return text
