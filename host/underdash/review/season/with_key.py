"""How much further the key's loads pull the volts down than they did: what tells a shared resistance from the rest."""

from math import sqrt

import numpy as np

from underdash.review.season import quantities as q
from underdash.review.season.quantities import Quantity
from underdash.review.season.telling import Found

SEEN = 3  # values since a change that would show it, were it there
# So many drives empty no battery by as much (chosen here; half of its charge is 0.41 V by the BCI table).
_AT_ONCE, _AT_ONCE_V = 16, 0.2


def with_key(found: Found, point: Quantity) -> tuple[float, float] | None:
    """Bounds [V] of how much deeper the key's loads pull the volts since `point` changed (or from its first to its last
    third): medians' difference, give or take two standard errors. None for fewer than three values on a side.

    Where no rest tells what they are pulled down from, the volts with the key on have to do, of the first drives since
    then alone: an emptier battery lowers them too, but bit by bit. So less than _AT_ONCE_V there may be none at all.
    """
    sag, alone = found.get(q.KEY_SAG.name), found.get(q.KEY_VOLTS.name)
    told = sag or alone
    if told is None:
        return None
    many = len(point.drives)
    first, last = (
        (point.drives[point.change.at],) * 2 if point.change else (point.drives[many // 3], point.drives[-many // 3])
    )
    numbers = np.array(told.drives)
    before, after = told.values[numbers < first], told.values[numbers >= last]
    if sag is None:
        before, after = -before, -after[:_AT_ONCE]
    if min(len(before), len(after)) < SEEN:
        return None
    shift = float(np.median(after) - np.median(before))
    # The standard error of a median is 1.25 times a mean's; deviations by their median, each side its own.
    spread = [1.4826 * float(np.median(np.abs(side - np.median(side)))) for side in (before, after)]
    off = 2.0 * 1.25 * sqrt(spread[0] ** 2 / len(before) + spread[1] ** 2 / len(after))
    sure = sag is not None or shift - off >= _AT_ONCE_V
    return (shift - off if sure else min(shift - off, 0.0)), shift + off
