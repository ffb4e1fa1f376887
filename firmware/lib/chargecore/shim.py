"""The one place where the two interpreters differ."""

try:
    from micropython import const
except ImportError:  # CPython: the compiler hint is just the value

    def const(value):  # type: ignore[no-redef]
        return value
