"""Storing a calibration so that the board ends with the new one, verified, or with the one before."""

from datetime import datetime
from pathlib import Path

from chargecore import calibration
from underdash.calibrate.ending import undisturbed
from underdash.calibrate.gauge import BoardLike
from underdash.problems import DataError, LinkError, UnderdashError, readable, write_whole
from underdash.settings.toml_file import write_toml

Values = dict[str, dict[str, int]]  # part of the settings to name to value


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


class Keeper:
    """Knows what a board had, and puts it back. before: the values; backup: the file that has them, if there is one.

    From the first `store` until `keep` the board counts as changed: who uses this calls `give_back` whatever ends
    the work, Ctrl-C too.
    """

    def __init__(self, board: BoardLike | None, before: Values) -> None:
        self.board = board
        self.before = before
        self.backup: Path | None = None
        self._changed = False

    def write_backup(self, folder: Path) -> Path:
        """Write what the board had there, once."""
        if self.backup is None:
            assert self.board is not None
            self.backup = write_backup(folder, self.board.board_id, self.before, datetime.now())
        return self.backup

    def store(self, found: Values) -> None:
        """Store, and read back. LinkError if the board does not keep it."""
        assert self.board is not None
        check(self.before, found)
        self._changed = True
        self.board.store(found)
        self.board.ready()
        wrong = _differing(self.board.settings(), found)
        if wrong:
            raise LinkError(
                f"{self.board.port}: the board did not keep {', '.join(wrong)}; try again, see `underdash board`"
            )

    def keep(self) -> None:
        """What was stored is good."""
        self._changed = False

    def give_back(self, cause: BaseException | None = None) -> None:
        """Make sure that the board has what it had; no signal stops that. LinkError if it cannot be made sure."""
        if not self._changed:
            return
        assert self.board is not None
        try:
            with undisturbed():
                self.board.ready()
                if _differing(self.board.settings(), self.before):
                    self.board.store(self.before)
                    self.board.ready()
                    if _differing(self.board.settings(), self.before):
                        raise LinkError(f"{self.board.port}: the board keeps other values")
                self._changed = False
        except UnderdashError as problem:
            happened = str(cause if isinstance(cause, LinkError) else problem).split(";")[0]
            remedy = f"`underdash settings send {self.backup}`" if self.backup else "send a before-….toml"
            raise LinkError(
                f"{happened}; the board has its old calibration or the new, unproven one, never a mixture: plug it in, "
                f"then calibrate again, or to have the old one {remedy}"
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
