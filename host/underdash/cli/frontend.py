"""`underdash frontend`: does a front end survive the car, and how well does it measure."""

import json
from pathlib import Path

import click

from underdash.frontend.parts import OPTIONS, Values

_PATH = click.Path(path_type=Path)


@click.command()
@click.option("--values", "values_file", type=_PATH, help="Another front end than the shipped hardware/values.toml.")
@click.option(
    "--with",
    "fitted",
    multiple=True,
    type=click.Choice(OPTIONS),
    help="An option that is fitted, instead of those that the file says. May be repeated.",
)
@click.option("--case", "names", multiple=True, metavar="NAME", help="Only this case. May be repeated.")
@click.option("--quick", is_flag=True, help="Nominal values at 25 C only, not the corners.")
@click.option("--accuracy", is_flag=True, help="Print the accuracy budget instead.")
@click.option("--adc-curve", type=_PATH, help="Print the errors with this measured converter curve instead.")
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON instead of text.")
def frontend(
    values_file: Path | None,
    fitted: tuple[str, ...],
    names: tuple[str, ...],
    quick: bool,
    accuracy: bool,
    adc_curve: Path | None,
    as_json: bool,
) -> None:
    """Prove a front end by simulation: pulses, load dump, cranking, lost ground, in all corners.

    Says for each case what the board does and which part comes closest to its limit; exit code 1 if a
    check fails, or with --adc-curve if the goal is not met. Needs ngspice.
    """
    from underdash.frontend import parts
    from underdash.problems import UsageError

    if accuracy and adc_curve:
        raise UsageError("--accuracy and --adc-curve: ask for one of them at a time")
    values = parts.load(values_file)
    if fitted:
        values = values.with_options(dict.fromkeys(fitted))
    if accuracy:
        from underdash.frontend import accuracy as budgeting

        budget = budgeting.budget(values)
        click.echo(json.dumps(budget, indent=1) if as_json else budgeting.text(budget))
        return
    if adc_curve:
        from underdash.frontend import curve

        report = curve.report(values, adc_curve)
        click.echo(json.dumps(report, indent=1) if as_json else curve.text(report))
        if not report["goal_met"]:
            raise SystemExit(1)
        return
    passed = _prove(values, names, quick, as_json)
    if not passed:
        raise SystemExit(1)


def _prove(values: Values, names: tuple[str, ...], quick: bool, as_json: bool) -> bool:
    from underdash.cli.progress import bar
    from underdash.frontend import table
    from underdash.frontend.constants import constants
    from underdash.frontend.fullscale import full_scale
    from underdash.frontend.proof import prove

    found, scale = constants(values), full_scale(values)
    with bar("simulate", unit="runs") as show:
        proof = prove(values, names, quick, show)
    if as_json:
        click.echo(json.dumps(table.as_dict(values, proof, scale, found), indent=1))
    else:
        click.echo(table.text(values, proof, scale, found))
    return not (proof.failures or proof.standing or scale.problems)
