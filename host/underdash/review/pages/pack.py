"""Rows as text that a page carries: whole numbers in the smallest type that holds them, in base64."""

import base64
from typing import Any

import numpy as np
from numpy.typing import NDArray

_TYPES = (("Int8", np.int8), ("Int16", np.int16), ("Int32", np.int32))


def pack(values: NDArray[Any]) -> dict[str, Any]:
    """A column as {type, step, data}: little-endian numbers of `type`, each to be multiplied by `step`.

    values: whole numbers, nan where not measured, which becomes the least number of the type. Nothing is rounded: the
    step is the greatest that divides them all. ValueError for what is beyond 32 bits.
    """
    known = np.isfinite(values)
    whole = np.where(known, values, 0).astype(np.int64)
    step = max(int(np.gcd.reduce(whole)) if len(whole) else 1, 1)
    steps = whole // step
    most = int(np.abs(steps).max(initial=0))
    for name, kind in _TYPES:
        limits = np.iinfo(kind)
        if most <= limits.max:
            packed = np.where(known, steps, limits.min).astype(f"<i{limits.bits // 8}")
            return {"type": name, "step": step, "data": base64.b64encode(packed.tobytes()).decode()}
    raise ValueError(f"{most} steps of {step} are beyond 32 bits")
