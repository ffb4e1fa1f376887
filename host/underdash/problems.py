"""What can go wrong in a way a user can mend: one line each, and the exit code that goes with it."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


class UnderdashError(Exception):
    """Base of everything the command line reports as one line. Exit code 1: it failed."""

    exit_code = 1


class UsageError(UnderdashError):
    """The request itself cannot be right: a wrong name, file or value. Exit code 2."""

    exit_code = 2


class DataError(UnderdashError):
    """A file is there but is not, or is no longer, what it should be."""


class LinkError(UnderdashError):
    """The board cannot be reached, or does not answer as one."""


@contextmanager
def readable(path: Path) -> Iterator[None]:
    """Turn the operating system's refusals about `path` into one clear line."""
    try:
        yield
    except FileNotFoundError:
        raise UsageError(f"{path}: no such file or folder; check the name") from None
    except IsADirectoryError:
        raise UsageError(f"{path}: is a folder; name a file in it") from None
    except (NotADirectoryError, FileExistsError):
        raise UsageError(f"{path}: part of this name is a file, not a folder; choose another place") from None
    except PermissionError:
        raise UnderdashError(f"{path}: permission denied; check who owns it, or choose another place") from None
    except OSError as problem:
        raise UnderdashError(f"{path}: {problem.strerror or problem}") from None


def write_whole(path: Path, data: bytes) -> None:
    """Write a file so that it is there whole or not at all, making its folder where needed.

    UnderdashError if the place cannot be written.
    """
    with readable(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        draft = path.with_name(f".{path.name}.part")
        try:
            draft.write_bytes(data)
            draft.replace(path)
        finally:
            draft.unlink(missing_ok=True)
