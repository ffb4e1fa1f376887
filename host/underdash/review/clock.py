"""A moment in words: on the local clock where its drive is dated, else as time since the count began."""

import math
from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta
from typing import Any

from underdash.review.words import moment

_MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
           "November", "December")  # fmt: skip


def clock(of: Mapping[str, Any], t_s: float, digits: int = 0) -> str:
    """The moment `t_s` [s] as "19:06:12", with the date before it where that is not the day on which `of` began.

    of: a drive, or anything with its `dated` and `start_s` [s] (docs/report.md). Where it is undated, h:mm:ss since the
    count began (`since` says which). digits: of a second. The clock goes on as it stood when `of` began: a change
    to summer time on the way is not followed.
    """
    if not of.get("dated"):
        return counted(t_s, digits)
    at, began = local(of, t_s, digits), datetime.fromisoformat(of["dated"])
    told = f"{at:%H:%M:%S}" + (f".{at.microsecond:06d}"[: digits + 1] if digits else "")
    return told if at.date() == began.date() else f"{at.date()} {told}"


def local(of: Mapping[str, Any], t_s: float, digits: int = 0) -> datetime:
    """Local time at `t_s` [s], rounded to so many digits of a second; `of` as for `clock`, and dated."""
    steps = 10**digits
    after_s = math.floor((t_s - of["start_s"]) * steps + 0.5) / steps
    return datetime.fromisoformat(of["dated"]) + timedelta(seconds=after_s)


def counted(t_s: float, digits: int = 0) -> str:
    """h:mm:ss since the count began."""
    tell = math.floor(abs(t_s) * 10**digits + 0.5) / 10**digits
    minutes, seconds = divmod(tell, 60)
    sign = "\u2212" if t_s < 0 and tell else ""
    width = digits + 3 if digits else 2
    return f"{sign}{int(minutes) // 60}:{int(minutes) % 60:02d}:{seconds:0{width}.{digits}f}"


def since(board: str | None, dated: bool = False) -> str:
    """What an undated time counts from. board: the report's, None for a log; dated: whether its times have dates."""
    if board is not None:
        return "since the board's start"
    return "since the log's first row" if dated else "as the log counts them"


def beside(of: Mapping[str, Any], board: str | None) -> str | None:
    """What the clock said at the start of a dated drive beside the count of it, so that one leads to the other; None
    where it is undated. board: as for `since`."""
    if not of.get("dated"):
        return None
    count = counted(of["start_s"])
    of_what = since(board, True) if board is None else f"of the board's start {of['boot']}"
    return f"{clock(of, of['start_s'])} is {count} {of_what}"


def nearest(drives: Iterable[Mapping[str, Any]], boot: int, t_s: float) -> Mapping[str, Any]:
    """The dated drive of a start of the board that begins nearest to `t_s` [s]: what tells the time of something in no
    drive. Without one, something undated."""
    known = [drive for drive in drives if drive["boot"] == boot and drive.get("dated")]
    return min(known, key=lambda drive: abs(drive["start_s"] - t_s), default={"dated": None, "start_s": 0.0})


def days(dates: list[str | None]) -> str:
    """From the first to the last of such moments in words, "7 September to 13 November 2026"; empty unless all are
    dated."""
    known = sorted(one[:10] for one in dates if one)
    if not known or len(known) < len(dates):
        return ""
    first, last = date.fromisoformat(known[0]), date.fromisoformat(known[-1])
    end = f"{last.day} {_MONTHS[last.month - 1]} {last.year}"
    if first == last:
        return end
    begin = [str(first.day)]
    if (first.year, first.month) != (last.year, last.month):
        begin.append(_MONTHS[first.month - 1])
    if first.year != last.year:
        begin.append(str(first.year))
    return f"{' '.join(begin)} to {end}"


def log_of(report: Mapping[str, Any], drive: Mapping[str, Any]) -> str | None:
    """The name of the log that a drive stands in, where a report is of several; else None."""
    logs = {one["boot"]: one["log"] for one in report["boots"]}
    return logs[drive["boot"]] if len(set(logs.values())) > 1 else None


def in_utc(of: Mapping[str, Any], board: str | None) -> bool:
    """Whether the times of a drive are UTC, which are no hours of a day: a log's whose zone is that. (A board's are the
    computer's that it was pulled with.)"""
    return board is None and (of["dated"] or "").endswith("+00:00")


def month(dated: str, year: bool) -> str:
    """The month of a moment, in three letters; with its year or without."""
    return _MONTHS[int(dated[5:7]) - 1][:3] + (f" {dated[:4]}" if year else "")


def when(of: Mapping[str, Any]) -> str:
    """When a drive began: local date and minute; of an undated one the bounds that are known, or that it is undated."""
    if of.get("dated"):
        return moment(of["dated"])
    after, before = of.get("dated_between") or (None, None)
    if after and before:
        return f"undated, between {moment(after)} and {moment(before)}"
    for word, bound in (("after", after), ("before", before)):
        if bound:
            return f"undated, {word} {moment(bound)}"
    return "undated"
