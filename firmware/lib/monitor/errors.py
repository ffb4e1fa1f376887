"""The last unhandled errors, kept in a small file."""

import io
import os
import sys

_PATH = "/errors.txt"
_KEEP_BYTES = 2048
_WHEN = " s after start"

_count = -1  # not read yet


def record(error, when_s: int):
    """Append the error with its place in the code; the oldest text makes room. Never raises."""
    global _count
    text = io.StringIO()
    text.write("%d%s\n" % (when_s, _WHEN))
    sys.print_exception(error, text)
    kept = _read()
    if len(kept) > _KEEP_BYTES:
        kept = kept[-_KEEP_BYTES:]
        kept = kept[kept.find("\n") + 1 :]
    kept += text.getvalue()
    try:
        with open(_PATH + ".new", "w") as file:
            file.write(kept)
        os.rename(_PATH + ".new", _PATH)
        _count = kept.count(_WHEN)
    except OSError:
        pass  # a full or failing flash must not stop the monitor from starting again


def read() -> list:
    """The recorded lines, oldest first."""
    return [line for line in _read().split("\n") if line]


def count() -> int:
    """How many errors the file holds; reads it only the first time."""
    global _count
    if _count < 0:
        _count = _read().count(_WHEN)
    return _count


def _read():
    try:
        with open(_PATH) as file:
            return file.read()
    except (OSError, ValueError):  # there is none, or it is no text
        return ""
