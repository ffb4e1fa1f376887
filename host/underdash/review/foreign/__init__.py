"""Logs from anywhere: text tables with columns for time, volts and, optionally, others (docs/import.md)."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from chargecore.units import ABSENT
from underdash.problems import DataError, UsageError
from underdash.review.foreign import beside, gather, layout, meaning, reading
from underdash.review.foreign.options import Options, read_map, write_map
from underdash.review.foreign.times import Begun
from underdash.review.foreign.understood import Understood, understand
from underdash.review.rows import Account, Rows, in_si

__all__ = ["Options", "Understood", "from_csv", "read", "read_map", "samples", "understand", "write_map"]

# What the names of logs end with.
SUFFIXES = frozenset((".csv", ".tsv", ".txt", ".log", ".dat"))


def from_csv(
    path: Path,
    columns: Mapping[str, str] | None = None,
    thresholds: Mapping[str, int] | None = None,
    options: Options | None = None,
) -> tuple[Rows, Account]:
    """Read a log and judge it: seconds [s], bus volts [V], battery current [A] (charging positive), temperature [C] and
    engine speed [rev/min].

    columns: which of the file's columns holds t_s, volts, amps, temperature_c or rpm, where it is not named so; over
    those of `options`.
    thresholds: those that are not to be the defaults [mV], [ms].
    Samples closer together than a second are gathered into rows of one second, as on the board. UsageError where the
    file could mean two things, DataError (with the line) for what cannot be read.
    """
    options = options or Options()
    if columns:
        options = replace(options, columns={**options.columns, **columns})
    account = Account()
    for name, value in (thresholds or {}).items():
        setattr(account.thresholds, name, value)
    found = read(path, options)
    if why := gather.too_far_apart(found, options.hold_s):
        raise UsageError(f"{path}: {why}")
    account.lines = beside.lines(found)
    if begun := Begun.of(found):
        account.origins = dict.fromkeys(np.unique(found.boot).tolist(), begun)
    single_below_mv = account.thresholds.crank_mv + account.thresholds.hysteresis_mv
    rows = gather.seconds(gather.held(found, options.hold_s or 0.0), single_below_mv)
    measured = {name: column for name, column in vars(rows).items() if name != "boot"}
    untold = np.zeros(len(rows.t_ms), np.int64)
    table = beside.beside(
        in_si(rows.boot, {**measured, "state": untold, "warnings": untold}, untold), found.beside, options.hold_s or 0.0
    )
    if not np.isfinite(table.rpm).any():  # with it, how fine the volts are decides nothing
        account.step_mv = gather.step_mv(found)
    # An engine that turns has its key on, one that stands is as good as off: what the board's ignition sense tells.
    key = np.where(np.isfinite(table.rpm), table.rpm > 0.0, ABSENT).astype(np.int64)
    state, warnings, since_ms = gather.judged(rows, account.thresholds, key=key)
    return replace(
        table, state=state, warnings=warnings, since_s=since_ms / 1000.0, key=key.clip(-1).astype(np.int8)
    ), account


def read(path: Path, options: Options) -> reading.Samples:
    """Read a log's samples. UsageError, DataError as from_csv; a log without rows is one."""
    table = layout.find(path, options)
    meant = meaning.find(path, table, options)
    if meant.reading is None:
        raise UsageError(f"{path}: {'; '.join(meant.questions)}")
    found = reading.read(path, table, meant.reading, options.time_back)
    if not len(found):
        raise DataError(f"{path}: no rows below the header; name a log that has some")
    return found


def samples(path: Path, columns: Mapping[str, str]) -> Iterator[tuple[float, int, int]]:
    """Yield (t_s [s], bus_mv, clamp_ma) of each line, ABSENT where a cell is empty; errors as from_csv."""
    found = read(path, Options(columns=columns))
    yield from zip(found.t_s.tolist(), found.bus_mv.tolist(), found.clamp_ma.tolist(), strict=True)
