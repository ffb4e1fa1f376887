"""The last unhandled errors, kept in a small file."""

import io
import os
import sys

_PATH = "/errors.txt"
_KEEP_BYTES = 2048


def record(error, when_s: int):
    """Append the error with its place in the code; the oldest text makes room. Never raises."""
    text = io.StringIO()
    text.write("%d s after start\n" % when_s)
    sys.print_exception(error, text)
    try:
        kept = _read()[-_KEEP_BYTES:]
        with open(_PATH + ".new", "w") as file:
            file.write(kept + text.getvalue())
        os.rename(_PATH + ".new", _PATH)
    except OSError:
        pass  # a full or failing flash must not stop the monitor from starting again


def read() -> list:
    """The recorded lines, oldest first."""
    return [line for line in _read().split("\n") if line]


def _read():
    try:
        with open(_PATH) as file:
            return file.read()
    except OSError:
        return ""
