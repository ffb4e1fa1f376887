"""A whole calibration, from wishes to certificate: guided or from a file, stored or only tried."""

from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from chargecore.calibration import Calibration
from underdash.calibrate import amps, certificate, checks, earlier, uncertainty
from underdash.calibrate.amps_session import AmpsSession
from underdash.calibrate.checks import Nominal
from underdash.calibrate.desk import Desk, Left, yes
from underdash.calibrate.ending import undisturbed
from underdash.calibrate.gauge import SAMPLES, BoardLike, Gauge
from underdash.calibrate.keep import Keeper, Values, check, check_folder, kept_parts
from underdash.calibrate.meter import Meter
from underdash.calibrate.points import read_amps, read_volts
from underdash.calibrate.session import TARGETS, Proof, VoltsSession, ask_meter
from underdash.problems import LinkError, UnderdashError, UsageError

_UNPROVEN = (
    "The supply no longer stood at the last point: only the board's arithmetic was proven. No reading after the store "
    "was compared with a meter; compare one."
)
AT_LAST = {"volts": 0.004, "amps": 0.2}  # [V], [A] so near the last point the supply is taken to stand there still


@dataclass(frozen=True)
class Wishes:
    """What was asked for. points: a CSV file, None for a guided session; at: volts [V] to take; out: the
    certificate's folder, None for none; desk None where nobody sits; turns of the wire through the clamp."""

    desk: Desk | None
    say: Callable[[str], None]
    meter: Meter | None = None
    points: Path | None = None
    at: tuple[float, ...] = TARGETS
    out: Path | None = None
    dry_run: bool = False
    yes: bool = False
    values: Path | None = None
    turns: int = 1


def nominals(values: Path | None) -> tuple[Nominal, Nominal]:
    """What to expect of the bus and of the clamp: from the user's own values file, else as shipped."""
    if values is None:
        return Nominal(), amps.NOMINAL
    from underdash.frontend import constants, parts

    own = constants.constants(parts.load(values))
    return Nominal(own.bus_gain_nv / 1e9, own.bus_zero), Nominal(own.clamp_gain_ua / 1e6, own.clamp_zero)


def volts(board: BoardLike | None, wishes: Wishes) -> dict[str, Any]:
    """Calibrate the bus: the record as in certificate.record. board may be None for a trial of a file."""
    return _safely(_volts, board, wishes)


def clamp(board: BoardLike | None, wishes: Wishes) -> dict[str, Any]:
    """Calibrate the clamp: the record as in certificate.record. board may be None for a trial of a file."""
    return _safely(_clamp, board, wishes)


def _safely(
    calibration: Callable[[BoardLike | None, Wishes, Keeper], dict[str, Any]], board: BoardLike | None, wishes: Wishes
) -> dict[str, Any]:
    """Whatever ends a calibration that is not kept, the board has what it had."""
    if wishes.out:
        check_folder(wishes.out)
    keeper = Keeper(board, kept_parts(board.settings()) if board else {})
    try:
        told = calibration(board, wishes, keeper)
        keeper.give_back()
        return told
    except BaseException as cause:
        # A closed window ends the input and sends a signal, too, which may come just here; not in a function of
        # its own or a `with`, whose first step it would stop.
        try:
            keeper.give_back(cause)
        except KeyboardInterrupt:
            keeper.give_back(cause)
        raise


def _volts(board: BoardLike | None, wishes: Wishes, keeper: Keeper) -> dict[str, Any]:
    expected, _ = nominals(wishes.values)
    before = keeper.before
    session: VoltsSession | None = None
    if wishes.points:
        meter = _meter_of(wishes)
        present = (before["calibration"]["bus_gain_nv"], before["calibration"]["bus_zero"]) if before else None
        points = read_volts(wishes.points, present, lambda text: wishes.say(f"note: {text}."))
        if board and present and wishes.out:
            earlier.refuse_if_older(wishes.points, wishes.out, board.board_id, present)
        line = checks.check_set(points, meter, expected)
    else:
        desk, at_board = _guided(board, wishes)
        meter = wishes.meter or ask_meter(desk)
        session = VoltsSession(desk, Gauge(at_board, "bus"), expected, meter, wishes.at)
        line = session.run()
        points = session.points
    found: Values = {"calibration": {"bus_zero": line.bus_zero, "bus_gain_nv": line.bus_gain_nv}}
    told = certificate.record(
        "volts",
        datetime.now(),
        _who(board),
        meter,
        points,
        line,
        uncertainty.of_volts(line, points, meter),
        band=uncertainty.of_volts(line, points, meter, certificate.across(points, uncertainty.AT)),
        before=_flat(before),
        found=_flat(found),
        cautions=checks.cautions(points, meter),
    )

    def prove(gauge: Gauge) -> Proof | None:
        if session:
            return session.prove(line)
        _arithmetic(gauge, "bus_code", "bus_mv", lambda kept, status: kept.bus_mv(status["bus_code"]))
        now = gauge.take(SAMPLES)
        if abs(now.reading - points[-1].reading) * line.gain > AT_LAST["volts"]:
            return None
        reached = VoltsSession(_Nobody(), gauge, expected, meter, wishes.at)
        reached.points = points
        limit = reached.proof_limit(points[-1], line) + AT_LAST["volts"]
        return Proof("the last point, still set", points[-1].meter, gauge.shown("bus_mv", SAMPLES) / 1000, limit)

    return _finish(board, wishes, told, keeper, found, "bus", prove)


def _clamp(board: BoardLike | None, wishes: Wishes, keeper: Keeper) -> dict[str, Any]:
    _, expected = nominals(wishes.values)
    before = keeper.before
    bus_zero = before["calibration"]["bus_zero"] if before else Calibration().bus_zero
    if board and not wishes.points:
        _sense(board, wishes, keeper)
    session: AmpsSession | None = None
    if wishes.points:
        meter = _meter_of(wishes)
        points = read_amps(wishes.points, lambda text: wishes.say(f"note: {text}."))
        found = amps.analyse(points, meter, expected, bus_zero)
    else:
        desk, at_board = _guided(board, wishes)
        meter = wishes.meter or ask_meter(desk, "1% + 3 digits at 0.01")
        session = AmpsSession(desk, Gauge(at_board, "clamp"), expected, meter, wishes.turns, bus_zero)
        found = session.run()
        points = session.points
    values: Values = {"calibration": found.values}
    if not before or "options" in before:
        values["options"] = {"clamp_supply": found.supply}
    told = certificate.record(
        "amps",
        datetime.now(),
        _who(board),
        meter,
        found.points,
        found.line,
        amps.of_amps(found, found.points, meter),
        band=amps.of_amps(found, found.points, meter, certificate.across(found.points, amps.AT)),
        before=_flat(before),
        found=_flat(values),
        cautions=amps.cautions(points, found, meter),
        extra={
            "hysteresis": found.hysteresis,
            "asymmetry": found.asymmetry,
            "backwards": found.backwards,
            "notes": [
                (
                    f"Zero after charging minus zero after discharging: {found.hysteresis:+.2f} A (limit "
                    f"{amps.HYSTERESIS:g}). The gain differs by {found.asymmetry * 100:+.1f} % between the "
                    f"directions (limit {amps.ASYMMETRY * 100:g})."
                )
            ],
        },
    )

    def prove(gauge: Gauge) -> Proof | None:
        if session:
            return session.prove(found)
        _arithmetic(gauge, "clamp_code", "clamp_ma", lambda kept, status: _clamp_ma(kept, status, found.supply))
        now = gauge.take(SAMPLES)
        if abs((now.reading - points[-1].reading) * found.line.gain) > AT_LAST["amps"]:
            return None
        limit = amps.proof_limit(points[-1], found, meter)
        return Proof("the last point, still so", points[-1].meter, gauge.shown("clamp_ma", SAMPLES) / 1000, limit)

    return _finish(board, wishes, told, keeper, values, "clamp", prove)


# -- inside -----------------------------------------------------------------------------------


def _flat(values: Values) -> dict[str, int]:
    return {name: value for part in values.values() for name, value in part.items()}


def _backup(wishes: Wishes, keeper: Keeper) -> None:
    if wishes.out and keeper.backup is None:
        wishes.say(f"{keeper.write_backup(wishes.out)}: what the board had")


def _clamp_ma(kept: Calibration, status: dict[str, Any], supply: int) -> int:
    return int(kept.clamp_ma(status["clamp_code"], status.get("supply_code", 0), supply))


class _Nobody:
    """A desk where nobody sits."""

    def say(self, text: str) -> None:
        pass

    def ask(self, question: str) -> str:
        raise Left

    def live(self, text: str) -> None:
        pass


def _meter_of(wishes: Wishes) -> Meter:
    if wishes.meter is None:
        raise UsageError('with --points the meter\'s class is needed, too: --meter "0.1% + 2 digits at 0.001"')
    return wishes.meter


def _guided(board: BoardLike | None, wishes: Wishes) -> tuple[Desk, BoardLike]:
    if wishes.desk is None:
        raise UsageError("a guided calibration needs a terminal; here use --points FILE.csv with --yes or --dry-run")
    assert board is not None
    return wishes.desk, board


def _who(board: BoardLike | None) -> dict[str, str]:
    if board is None:
        return {"id": "", "firmware": "", "port": ""}
    return {"id": board.board_id, "firmware": str(board.hello.get("firmware", "")), "port": board.port}


def _sense(board: BoardLike, wishes: Wishes, keeper: Keeper) -> None:
    """The board reads its clamp's pin only where one is fitted: have it do so."""
    _guided(board, wishes)
    if not keeper.before["calibration"]["clamp_fitted"]:
        _backup(wishes, keeper)
        wishes.say("The board is told that a clamp is fitted, so that it reads it; that is taken back if you leave.")
        keeper.store({"calibration": {"clamp_fitted": 1}})
    elif _as_if_cut_off(keeper.before):
        # It may be meant so, by hand: what was found is left, but not in silence.
        wishes.say(
            "note: the board has clamp_fitted = 1 with the nominal zero and gain, as a session leaves it that the "
            "power cut off. If you leave it stays so, and its amps may be wrong by amperes. To undo it, where there is "
            "no clamp: `underdash settings send` with clamp_fitted = 0, as in that session's before-….toml."
        )


def _as_if_cut_off(before: Values) -> bool:
    kept, plain = before["calibration"], Calibration()
    nominal = all(kept[name] == getattr(plain, name) for name in ("clamp_zero", "clamp_gain_ua"))
    return nominal and not before.get("options", {}).get("clamp_supply")


def _arithmetic(gauge: Gauge, code: str, shown: str, of: Callable[[Calibration, dict[str, Any]], int]) -> None:
    """The board must make of a code what its stored calibration makes of it here."""
    kept = Calibration()
    for name, value in gauge.board.settings()["calibration"].items():
        setattr(kept, name, value)
    for _ in range(5):
        gauge.sample()
        status = gauge.board.status()
        if status[shown] is not None and abs(of(kept, status) - status[shown]) > 1:
            raise UnderdashError(
                f"the board shows {status[shown]} for code {status[code]} where its calibration gives "
                f"{of(kept, status)}; the old calibration comes back; install the firmware that belongs "
                "to this program"
            )


def _finish(
    board: BoardLike | None,
    wishes: Wishes,
    told: dict[str, Any],
    keeper: Keeper,
    found: Values,
    channel: str,
    prove: Callable[[Gauge], Proof | None],
) -> dict[str, Any]:
    """Show, ask, store, prove, write."""
    _show(wishes.say, told)
    check(keeper.before or {"calibration": vars(Calibration())}, found)
    if not wishes.dry_run:
        assert board is not None
        _backup(wishes, keeper)
        _confirm(board, wishes)
        keeper.store(found)
        _prove(Gauge(board, channel), wishes, told, prove)
    with undisturbed():  # what is kept gets its certificate
        if not wishes.dry_run:
            keeper.keep()
            told["stored"] = True
        _tell(wishes, told)
    return told


def _prove(gauge: Gauge, wishes: Wishes, told: dict[str, Any], prove: Callable[[Gauge], Proof | None]) -> None:
    proof = prove(gauge)
    if proof is None:
        told["cautions"].append(_UNPROVEN)
        wishes.say(f"note: {_UNPROVEN}")
        return
    told["proof"] = {**asdict(proof), "difference": proof.difference}
    if abs(proof.difference) > proof.limit:
        unit = told["unit"]
        raise LinkError(
            f"after the store the board shows {proof.shown:.3f} {unit} where the meter read {proof.meter:.3f} {unit} "
            f"(limit {proof.limit:.3f}); the old calibration was put back; take the points again"
        )


def _tell(wishes: Wishes, told: dict[str, Any]) -> None:
    if wishes.out:
        page, data = certificate.write(wishes.out, told)
        wishes.say(f"{page}: the certificate, for people")
        wishes.say(f"{data}: the same, for programs")
    if told["stored"]:
        changed = ", ".join(f"{name} {told['before'][name]} -> {value}" for name, value in told["found"].items())
        unproven = "" if told["proof"] else "; no reading after the store was compared with a meter"
        wishes.say(f"board {told['board']['id']}: kept {changed}{unproven}")
    else:
        wishes.say("tried only: nothing was stored")


def _confirm(board: BoardLike, wishes: Wishes) -> None:
    if wishes.yes:
        return
    if wishes.desk is None:
        raise UsageError("nobody is there to be asked: add --yes to store, or --dry-run to look only")
    if not yes(wishes.desk, f"store to board {board.board_id}?"):
        raise Left


def _show(say: Callable[[str], None], told: dict[str, Any]) -> None:
    unit = told["unit"]
    for name, value in told["found"].items():
        say(f"{name} = {value}" + (f" (was {told['before'][name]})" if told["before"] else ""))
    worst = max(abs(point["residual"]) for point in told["points"])
    say(f"{len(told['points'])} points, largest residual {worst * 1000:.2f} m{unit}")
    for one in told["uncertainty"]:
        say(
            f"  at {one['value']:5.1f} {unit}: expanded uncertainty {one['expanded'] * 1000:.1f} m{unit} "
            f"(k = {one['factor']:.2f})"
        )
    for text in told["cautions"]:
        say(f"note: {text}")
