"""Storing a calibration so that the board ends with the new one, verified, or with the one before."""

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from chargecore import calibration
from underdash.calibrate.ending import undisturbed
from underdash.calibrate.gauge import BoardLike
from underdash.problems import DataError, LinkError, UnderdashError, readable, write_whole
from underdash.settings.toml_file import write_toml

Values = dict[str, dict[str, int]]  # part of the settings to name to value


class NotGivenBack(LinkError):
    """The board may have other values than before, and it was said what to do."""


def check_folder(folder: Path) -> None:
    """Find out, before anything is measured, that files can be written there. UnderdashError if they cannot."""
    new = not folder.exists()
    probe = folder / ".probe"
    write_whole(probe, b"")
    with readable(folder):
        probe.unlink()
        if new:  # who leaves shall find no empty folder
            folder.rmdir()


def check(before: Values, found: Values) -> None:
    """Refuse values that the board would refuse: DataError."""
    problem = calibration.check({**before["calibration"], **found["calibration"]})
    if problem:
        raise DataError(f"{problem}; nothing was stored; check divider, sensor and points")


def write_backup(folder: Path, board_id: str, before: Values, now: datetime) -> Path:
    """What the board has, as a settings file that `underdash settings send` gives back."""
    path = folder / f"before-{board_id}-{now:%Y%m%d-%H%M%S}.toml"
    write_whole(path, write_toml(before).encode())
    return path


def store_verified(
    board: BoardLike, before: Values, found: Values, verify: Callable[[], None], backup: Path | None = None
) -> None:
    """Store `found`, read it back, then call `verify`, which raises if it is not satisfied.

    backup: the file that has `before`, if there is one. Whatever goes wrong after the storing, Ctrl-C too, the
    values of `before` are stored again and the cause is raised on; where even that fails NotGivenBack says what to do.
    """
    check(before, found)
    try:
        board.store(found)
        board.ready()
        wrong = _differing(board.settings(), found)
        if wrong:
            raise LinkError(
                f"{board.port}: the board did not keep {', '.join(wrong)}; try again, see `underdash board`"
            )
        verify()
    except BaseException as cause:
        give_back(board, before, cause, backup)
        raise


def give_back(board: BoardLike, before: Values, cause: BaseException | None = None, backup: Path | None = None) -> None:
    """Make sure that the board has `before`. NotGivenBack if that cannot be made sure."""
    if isinstance(cause, NotGivenBack):  # it was tried, and said
        return
    try:
        with undisturbed():
            board.ready()
            if _differing(board.settings(), before):
                board.store(before)
                board.ready()
                if _differing(board.settings(), before):
                    raise LinkError(f"{board.port}: the board keeps other values")
    except UnderdashError as problem:
        happened = cause if isinstance(cause, LinkError) else problem
        remedy = f"`underdash settings send {backup}`" if backup else "calibrate again, or send a before-….toml"
        raise NotGivenBack(
            f"{str(happened).split(';')[0]}; the board has its old calibration or the new, unproven one, never a "
            f"mixture: plug it in, and to have the old one {remedy}"
        ) from None


def kept_parts(settings: Values) -> Values:
    """What a calibration may change, of a board's settings: to be put back if it goes wrong."""
    options = settings.get("options", {})
    clamp = {"clamp_supply": options["clamp_supply"]} if "clamp_supply" in options else {}
    return {"calibration": dict(settings["calibration"]), **({"options": clamp} if clamp else {})}


def _differing(settings: Values, wanted: Values) -> list[str]:
    return [
        name
        for part, values in wanted.items()
        for name, value in values.items()
        if settings.get(part, {}).get(name) != value
    ]
