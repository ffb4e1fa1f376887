"""The times of a foreign log: numbers in a unit, hours since the start, or dates with a time of day."""

import math
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta, timezone
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from underdash.review.foreign.reading import Samples

_DATE = r"\d{1,4}(?P<dash>[-/.])\d{1,2}(?P=dash)\d{1,4}|\d{8}|\d{1,2}[- ](?:[A-Z][a-z]{2})[- ]\d{4}"
_STAMP = re.compile(
    rf"(?P<date>{_DATE})(?:T|,? +)(?P<h>\d{{1,2}}):?(?P<m>\d\d)(?::?(?P<s>\d\d(?:[.,]\d+)?))?"
    r"(?: ?(?P<half>[AaPp])\.?[Mm]\.?)?(?: ?(?P<zone>Z|[+-]\d\d(?::?\d\d)?))?"
)
_HOURS = re.compile(r"(\d+):([0-5]\d):([0-5]\d(?:[.,]\d+)?)")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_EPOCH_DAY = date(1970, 1, 1).toordinal()
# A number of seconds beyond this counts from 1970 (it would be nine years of one recording).
SINCE_1970_S = 3e8

FORMS = "seconds, 2026-05-31 07:00:06.5, 31.05.2026 07:00:06 or 07:00:06"


def kind_of(text: str) -> str | None:
    """ "stamp" for a date with a time of day, "hours" for 7:00:06; None for what is no such time."""
    text = text.strip()
    return "stamp" if _STAMP.fullmatch(text) else "hours" if _HOURS.fullmatch(text) else None


def order_of(cells: Iterable[str]) -> tuple[str | None, str]:
    """(the order of the day, month and year in these dates, how it is known), or (None, why it is open).

    A day beyond the twelfth tells; a year of four digits in front, or a month in letters, needs no telling.
    """
    needed = False
    seen = {"dmy": "", "mdy": ""}
    example = ""
    for cell in cells:
        stamp = _STAMP.fullmatch(cell.strip())
        if not stamp:
            continue
        parts = re.split(r"[-/.]", stamp["date"])
        if len(parts) != 3 or len(parts[0]) == 4 or not parts[1].isdigit():
            continue
        needed, example = True, example or stamp["date"]
        if len(parts[2]) == 4:
            if int(parts[0]) > 12:
                seen["dmy"] = seen["dmy"] or stamp["date"]
            if int(parts[1]) > 12:
                seen["mdy"] = seen["mdy"] or stamp["date"]
        if seen["dmy"] and seen["mdy"]:
            return None, f"'{seen['dmy']}' and '{seen['mdy']}' cannot be in one order"
    if not needed:
        return "ymd", "the year stands first"
    for order, told in seen.items():
        if told:
            return order, f"'{told}'"
    return None, f"'{example}' does not tell the day from the month"


@dataclass
class Clock:
    """Turns cells into seconds [s]: since 1970 if `dated`, else as the recorder counts.

    kind: "number", "stamp" or "hours". factor: of a number's unit to seconds. order: of a date's parts.
    zoned: whether the first date had a zone, and utc_offset_s: what that is ahead of UTC [s]; known once it is read.
    """

    kind: str
    number: Callable[[str], float]
    factor: float = 1.0
    order: str = "ymd"
    zoned: bool | None = None
    utc_offset_s: int = 0
    _days: dict[str, float] = field(default_factory=dict)

    def seconds(self, text: str) -> float:
        """Seconds [s] to the microsecond, nan for an empty cell; ValueError says what is wrong with it."""
        if self.kind == "number":
            return round(self.number(text) * self.factor, 6)
        text = text.strip()
        if not text:
            return math.nan
        if self.kind == "hours":
            hours = _HOURS.fullmatch(text)
            if not hours:
                raise ValueError("no time such as 07:00:06")
            return round(int(hours[1]) * 3600 + int(hours[2]) * 60 + float(hours[3].replace(",", ".")), 6)
        return self._stamp(text)

    def _stamp(self, text: str) -> float:
        stamp = _STAMP.fullmatch(text)
        if not stamp:
            raise ValueError("no date and time like those before it")
        written, _, hour_text, minute_text, second_text, half, zone = stamp.groups()
        start = self._days.get(written)
        if start is None:
            start = self._days[written] = self._day(written)
        hour, minute, second = (
            int(hour_text),
            int(minute_text),
            float(second_text.replace(",", ".")) if second_text else 0.0,
        )
        if half:
            if not 1 <= hour <= 12:
                raise ValueError("no time of day")
            hour = hour % 12 + (12 if half in "Pp" else 0)
        if hour > 24 or minute > 59 or second >= 61 or (hour == 24 and (minute or second)):
            raise ValueError("no time of day")
        if self.zoned is not None and self.zoned != (zone is not None):
            raise ValueError("with a time zone, others without" if zone else "without a time zone, others with one")
        shift = 0
        if zone and zone != "Z":
            digits = zone[1:].replace(":", "").ljust(4, "0")
            shift = (int(digits[:2]) * 3600 + int(digits[2:]) * 60) * (-1 if zone[0] == "-" else 1)
            if abs(shift) >= 86400:
                raise ValueError(f"with a time zone that is none, {zone}")
        if self.zoned is None:
            self.zoned, self.utc_offset_s = zone is not None, shift
        return round(start + hour * 3600 + minute * 60 + second - shift, 6)

    def _day(self, written: str) -> float:
        """Seconds from 1970 to the beginning of a day [s]."""
        try:
            if written.isdigit():
                year, month, day = int(written[:4]), int(written[4:6]), int(written[6:])
            elif (parts := re.split(r"[-/. ]", written))[1].isalpha():
                year, month, day = int(parts[2]), _MONTHS.index(parts[1]) + 1, int(parts[0])
            else:
                order = "ymd" if len(parts[0]) == 4 else self.order
                values = dict(zip(order, map(int, parts), strict=True))
                year, month, day = values["y"], values["m"], values["d"]
                if len(parts[order.index("y")]) <= 2:
                    year += 2000
            return (date(year, month, day).toordinal() - _EPOCH_DAY) * 86400.0
        except ValueError:
            raise ValueError(f"no date in the order {self.order}") from None


@dataclass(frozen=True)
class Begun:
    """When a dated log begins: seconds since 1970 of its t_s = 0 [s], by UTC; or by a clock whose zone is not told,
    then `utc_offset_s` is None. utc_offset_s: what the log's own time is ahead of UTC [s]."""

    origin_s: float
    utc_offset_s: int | None

    @classmethod
    def of(cls, samples: "Samples") -> "Begun | None":
        """When these began; None if they are not dated."""
        if samples.origin_s is None:
            return None
        return cls(samples.origin_s, samples.utc_offset_s if samples.zoned else None)

    def iso(self, t_s: float) -> str:
        """The log's own time at `t_s` [s], ISO 8601 to the second, with its zone if that is known."""
        at = datetime.fromtimestamp(self.origin_s + t_s, UTC)
        if self.utc_offset_s is None:
            at = at.replace(tzinfo=None)
        else:
            at = at.astimezone(timezone(timedelta(seconds=self.utc_offset_s)))
        return at.isoformat(timespec="seconds")

    def between(self, t_s: float) -> None:
        """Bounds are for the undated."""


def moment(seconds: float) -> datetime:
    """The date of seconds since 1970, without a zone."""
    return datetime.fromtimestamp(seconds, UTC).replace(tzinfo=None)
