"""The owner's five questions in order: is the battery cycled, since when, when, how bad, what would fix it."""

from typing import Any

from underdash.review.charge_words import cost_ah, given, given_ah, measured_ah
from underdash.review.clock import clock, in_utc
from underdash.review.drive_words import HARDLY, much_at_idle, often, slight
from underdash.review.drive_words import deficits as deficits_of
from underdash.review.findings import undecided
from underdash.review.lost_volts import blamed
from underdash.review.plan_words import closing
from underdash.review.sensors import doubt
from underdash.review.words import count, duration, named, on

QUESTIONS = (
    "Is the battery being cycled?",
    "Since when?",
    "Under what conditions?",
    "How bad is it?",
    "What would fix it?",
)
_LEAST_SHARE = 0.001  # of a life that is put in figures
# Hours between which lamps are taken to be on, and what shows that they matter (chosen here).
_DUSK, _DAWN = 18, 7
_FEW_DRIVES, _DARK_SHARE = 3, 0.5


def answers(report: dict[str, Any]) -> list[dict[str, str]]:
    """[{question, answer}], in the order of QUESTIONS; only the first where the battery was not cycled."""
    found = [(drive, episode) for drive in report["drives"] for episode in deficits_of(drive)]
    if not found:
        return [{"question": QUESTIONS[0], "answer": _no(report) + _left_out(report, found)}]
    yes = _yes(report, found) + _left_out(report, found)
    told = yes, _since(report, found), _when(report, found), _cost(report, found), _fix(report, found)
    return [{"question": question, "answer": answer} for question, answer in zip(QUESTIONS, told, strict=True)]


Deficits = list[tuple[dict[str, Any], dict[str, Any]]]


def _no(report: dict[str, Any]) -> str:
    drives = report["drives"]
    if not drives:
        whole = report["whole"]
        if whole is not None and whole["out_ah"]:
            return (
                f"There is no drive in these rows. By the clamp {whole['out_ah']:.2f} Ah went out and "
                f"{whole['in_ah']:.2f} Ah in."
            )
        return "There is no drive in these rows, so they cannot tell."
    why = doubt(report)
    if why is not None:
        return f"These rows cannot tell: {why}. See the findings."
    failed = [drive for drive in drives if not drive["started"]]
    dead = [drive for drive in drives if drive["started"] and not drive["charged"]]
    if dead:
        return f"Charging volts were never reached in {_of(dead, drives)}: see the findings."
    if failed:
        return f"The engine seems not to have started in {_of(failed, drives)}: see the findings."
    if any(episode["kind"] == "overcharge" for drive in drives for episode in drive["episodes"]):
        return "No, but it was overcharged: see the findings."
    parked = undecided(report)
    if any(episode["ran"] for episode in parked):
        return "Yes: the battery fed the car in a drive whose start is not in these rows: see the findings."
    if parked:
        return (
            "These rows leave it open: something drew from the battery, and no crank tells whether the engine ran. See "
            "the findings."
        )
    if report["doubtful_rests"]:
        many = len({rest["drive"] for rest in report["doubtful_rests"]})
        return f"Not that these rows show, but after {_of(drives[:many], drives)} they leave it open: see the findings."
    events = (report.get("season") or {"events": []})["events"]
    parked_too = " But while parked something drew from it: see the findings." if events or _drained(report) else ""
    if len(drives) == 1:
        return f"No. With the engine running the alternator carried the car.{parked_too}"
    return f"No. In each of these {len(drives)} drives the alternator carried the car.{parked_too}"


def _drained(report: dict[str, Any]) -> bool:
    """Whether something drew from the parked battery that is worth a line."""
    drawn = [one for one in report["parked_episodes"] if one["kind"] == "discharging" and not slight([one])]
    return bool(drawn) or any(rest["drains"] for rest in report["rests"])


def _left_out(report: dict[str, Any], deficits: Deficits) -> str:
    """Of discharging in the drives what these answers do not go by, though it is counted elsewhere."""
    all_of = [
        episode
        for drive in report["drives"]
        for episode in drive["episodes"]
        if episode["kind"] == "discharging" and drive["started"]
    ]
    counted = {episode["first_row"] for _, episode in deficits}
    left = [episode for episode in all_of if episode["first_row"] not in counted]
    if not left:
        return ""
    lasted = duration(sum(episode["length_s"] for episode in left))
    return (
        f" Left out: {count(left, 'stretch', 'stretches')} of discharging, {lasted} in all: too little to say "
        "anything, or the engine seems to have been off."
    )


def _of(some: list[dict[str, Any]], drives: list[dict[str, Any]]) -> str:
    return "this drive" if len(drives) == 1 else f"{len(some)} of {len(drives)} drives"


def _yes(report: dict[str, Any], deficits: Deficits) -> str:
    hit = len({drive["number"] for drive, _ in deficits})
    if _by_volts_alone(report, deficits):
        since = report["season"]["verdicts"]["connection"]["drive"]
        where = "" if since is None else f" since drive {since}"
        return (
            f"By the volts at the board it looks so, in {hit} of {len(report['drives'])} drives. But a connection has "
            f"been bad{where}, and low volts behind it need not be low at the battery: mend it first, then look again."
        )
    told = f"Yes: with the engine running the battery fed the car {often([episode for _, episode in deficits])}"
    return f"{told}, in {hit} of {len(report['drives'])} drives." if len(report["drives"]) > 1 else f"{told}."


def _since(report: dict[str, Any], deficits: Deficits) -> str:
    drive, episode = deficits[0]
    into = duration(episode["start_s"] - drive["start_s"])
    total, earlier = len(report["drives"]), drive["number"] - 1
    if total == 1:
        return f"From {clock(drive, episode['start_s'])} on, {into} into the drive{_day(drive)}."
    if earlier:
        shown = "the one before it shows none" if earlier == 1 else f"the {earlier} before it show none"
        told = f"Since {_named(drive)}, {into} into it; {shown}."
    else:
        told = f"Since the first of these drives{_day(drive)}, {into} into it: it may be older."
    last = deficits[-1][0]
    later = total - last["number"]
    if total - earlier > 1:
        hit = len({one["number"] for one, _ in deficits})
        told += f" It came in {hit} of the {total - earlier} drives from then on."
    if later and last["number"] != drive["number"]:
        told += f" Last in {_named(last)}."
    if later:
        told += " The one after it shows none." if later == 1 else f" The {later} after it show none."
    return told


def _named(drive: dict[str, Any]) -> str:
    return named(drive["number"], drive["dated"])


def _day(drive: dict[str, Any]) -> str:
    return f" {on(drive['dated']) or '(undated)'}"


def _when(report: dict[str, Any], deficits: Deficits) -> str:
    told = []
    into = sorted((episode["start_s"] - drive["start_s"]) / 60 for drive, episode in deficits)
    if len(into) > 1:
        first, last = f"{into[0]:.0f}", f"{into[-1]:.0f}"
        told.append(f"It begins {first if first == last else f'{first} to {last}'} min into the drive.")
    hit = {drive["number"]: drive for drive, _ in deficits}
    told += [_idling(hit, deficits), _in_the_dark(report, hit)]
    planned = [episode for episode in report.get("plan", {}).get("episodes", ()) if episode["foreseen"]]
    if planned:
        where = sorted({f"{one['nearest']['speed']}, {one['nearest']['situation']}" for one in planned})
        told.append(f"It is what the car file foresees at {'; '.join(where)}.")
    charged = [drive["set_point_volts"] for drive in hit.values() if drive["set_point_volts"] is not None]
    never = sum(not drive["charged"] for drive in hit.values())
    if charged:
        least, most = f"{min(charged):.2f}", f"{max(charged):.2f}"
        at = f"{least} V (median)" if least == most else f"{least} to {most} V (medians)"
        told.append(f"At other times of the same drive{'' if len(charged) == 1 else 's'} it charged, at {at}.")
    if never:
        all_of = "this drive" if len(report["drives"]) == 1 else "these drives"
        told.append(f"It never charged in {all_of if never == len(hit) else f'{never} of them'}.")
    return " ".join(one for one in told if one)


def _idling(hit: dict[int, dict[str, Any]], deficits: Deficits) -> str:
    """How much of it was at idle, where the log has the engine's speed."""
    idle = {number: drive["idle"] for number, drive in hit.items() if drive["idle"]}
    total_s = sum(episode["length_s"] for drive, episode in deficits if drive["number"] in idle)
    if not total_s:
        return ""
    short_s, idle_s = (sum(one[name] for one in idle.values()) for name in ("idle_short_s", "idle_s"))
    told = f"{much_at_idle(short_s / total_s)} at idle (500 to 900 rpm)"
    if short_s <= HARDLY * total_s:
        return f"{told}."
    where = "this drive" if len(idle) == 1 else "these drives"
    return f"{told}, {short_s / idle_s:.0%} of the time at idle in {where}."


def _not_at_idle(deficits: Deficits) -> bool:
    """Whether the log's engine speed says that hardly any of it was at idle."""
    hit = {drive["number"]: drive for drive, _ in deficits if drive["idle"]}
    total_s = sum(episode["length_s"] for drive, episode in deficits if drive["number"] in hit)
    return bool(hit) and sum(drive["idle"]["idle_short_s"] for drive in hit.values()) <= HARDLY * total_s


def _in_the_dark(report: dict[str, Any], hit: dict[int, dict[str, Any]]) -> str:
    """Whether it goes with the hours in which the lamps are on; nothing where too few drives have a
    local time to tell."""
    dark: dict[bool, list[bool]] = {True: [], False: []}
    for drive in report["drives"]:
        if drive["dated"] and drive["started"] and not in_utc(drive, report["board"]):
            hour = int(drive["dated"][11:13])
            dark[drive["number"] in hit].append(hour >= _DUSK or hour < _DAWN)
    fed, well = dark[True], dark[False]
    if min(len(fed), len(well)) < _FEW_DRIVES:
        return ""
    more = sum(fed) / len(fed) - sum(well) / len(well)
    if abs(more) < _DARK_SHARE:
        return ""
    return (
        f"{sum(fed)} of these {len(fed)} drives began between {_DUSK}:00 and {_DAWN}:00, and {sum(well)} of the "
        f"{len(well)} without it{': the lamps may be what is too much' if more > 0.0 else ''}."
    )


def _cost(report: dict[str, Any], deficits: Deficits) -> str:
    episodes = [episode for _, episode in deficits]
    by_drive: dict[int, list[dict[str, Any]]] = {}
    for drive, episode in deficits:
        by_drive.setdefault(drive["number"], []).append(episode)
    number = max(by_drive, key=lambda one: sum(cost_ah(episode) for episode in by_drive[one]))
    worst = _named(report["drives"][number - 1])
    measured = all(episode["charge_ah"] is not None for episode in episodes)
    if len(by_drive) == 1 or measured:
        told = f"{given(episodes)}."
        if len(by_drive) > 1:
            most = -sum(episode["charge_ah"] for episode in by_drive[number])
            told += f" The most in one drive was {measured_ah(most, *given_ah(by_drive[number]))}, in {worst}."
    else:  # the bounds of many drives add up to what no battery holds
        told = f"The worst was {worst}. {given(by_drive[number])}."
    driven_s = sum(drive["length_s"] for drive in report["drives"])
    if len(report["drives"]) > 1 and driven_s:
        lasted_s = sum(episode["length_s"] for episode in episodes)
        told += f" It lasted {lasted_s / driven_s:.1%} of the {duration(driven_s)} driven."
    volts = [episode["lowest_volts"] for episode in episodes if episode["lowest_volts"] is not None]
    told += f" The volts fell to {min(volts):.2f} V." if volts else ""
    shares = [drive["life_share"] for drive in report["drives"] if drive["life_share"] is not None]
    if sum(shares) > 0.0:
        share = f"about {sum(shares):.1%}" if sum(shares) >= _LEAST_SHARE else f"less than {_LEAST_SHARE:.1%}"
        told += f" Cycling like this costs {share} of the battery's life, a rough estimate."
    elif not report["clamp"]:
        told += " What it costs in battery life is not known without a clamp."
    elif report["capacity_ah"] is None:
        told += " What it costs in battery life needs the battery's capacity, from a car file."
    return told


def _fix(report: dict[str, Any], deficits: Deficits) -> str:
    return " ".join(one for one in (_season(report, deficits), _rest(report, deficits)) if one)


def _by_volts_alone(report: dict[str, Any], deficits: Deficits) -> bool:
    """Whether all of them were seen by volts only, behind a connection that is bad."""
    return all(
        episode["charge_ah"] is None and "connection" in blamed(report, drive["number"]) for drive, episode in deficits
    )


def _season(report: dict[str, Any], deficits: Deficits) -> str:
    """What the season's verdicts say has to be mended first, if anything."""
    names = blamed(report, deficits[-1][0]["number"])
    told = []
    for name in names:
        found = report["season"]["verdicts"][name]
        since = "" if found["drive"] is None else f", since drive {found['drive']}"
        told.append(f"First the {name}{since}: {found['reason']}")
    return " ".join(told)


def _rest(report: dict[str, Any], deficits: Deficits) -> str:
    """What closes the deficits otherwise: by the car file where there is one."""
    plan, first = report.get("plan"), bool(_season(report, deficits))
    if _by_volts_alone(report, deficits):
        return ""  # whether the alternator is short as well nobody can tell before that
    if plan and any(one["foreseen"] or one["milder"] for one in plan["episodes"]) and closing(plan):
        then = "Then, by the car file," if first else "By the car file"
        return f"{then} any one of these, margin included: {'; '.join(closing(plan))}."
    if first and not all(drive["charged"] for drive, _ in deficits):
        return ""
    if plan and plan["checks"] and not first:
        return "The car seems to differ from its file. " + " ".join(check["text"] for check in plan["checks"])
    if _not_at_idle(deficits):
        return (
            "It was not at idle: see to the belt, the charge cable and the grounds, or there is more on than the "
            "machine can give."
        )
    if all(drive["charged"] for drive, _ in deficits):
        return (
            f"{'Then a' if first else 'A'} higher idle, a smaller alternator pulley, more rated output or less load at "
            "idle. How much of each, the plan of a car file says."
        )
    return "First see that the alternator charges at all: belt, its fuse, the charge cable, the grounds, the machine."
