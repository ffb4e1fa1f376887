"""The owner's five questions in order: is the battery cycled, since when, when, how bad, what would fix it."""

from typing import Any

from underdash.review.drive_words import given, often, slight
from underdash.review.plan_words import closing
from underdash.review.sensors import doubt
from underdash.review.words import clock, duration, on

QUESTIONS = (
    "Is the battery being cycled?",
    "Since when?",
    "Under what conditions?",
    "How bad is it?",
    "What would fix it?",
)
_LEAST_SHARE = 0.001  # of a life that is put in figures


def answers(report: dict[str, Any]) -> list[dict[str, str]]:
    """[{question, answer}], in the order of QUESTIONS; only the first where the battery was not cycled."""
    found = [(drive, episode) for drive in report["drives"] for episode in drive["episodes"] if drive["started"]]
    deficits = [(drive, episode) for drive, episode in found if episode["kind"] == "discharging"]
    if slight([episode for _, episode in deficits]):
        deficits = []
    if not deficits:
        return [{"question": QUESTIONS[0], "answer": _no(report)}]
    told = (_yes(report, deficits), _since(report, deficits), _when(report, deficits), _cost(report, deficits),
            _fix(report, deficits))  # fmt: skip
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
    ran_on = [rest for rest in report["doubtful_rests"] if rest["by"] == "speed"]
    if ran_on:
        lasted = duration(sum(rest["length_s"] for rest in ran_on))
        return f"Yes: the engine ran for {lasted} with the volts below charging, though still: see the findings."
    if report["doubtful_rests"]:
        many = len({rest["drive"] for rest in report["doubtful_rests"]})
        return f"Not that these rows show, but after {_of(drives[:many], drives)} they leave it open: see the findings."
    if len(drives) == 1:
        return "No. With the engine running the alternator carried the car."
    return f"No. In each of these {len(drives)} drives the alternator carried the car."


def _of(some: list[dict[str, Any]], drives: list[dict[str, Any]]) -> str:
    return "this drive" if len(drives) == 1 else f"{len(some)} of {len(drives)} drives"


def _yes(report: dict[str, Any], deficits: Deficits) -> str:
    hit = len({drive["number"] for drive, _ in deficits})
    told = f"Yes: with the engine running the battery fed the car {often([episode for _, episode in deficits])}"
    return f"{told}, in {hit} of {len(report['drives'])} drives." if len(report["drives"]) > 1 else f"{told}."


def _since(report: dict[str, Any], deficits: Deficits) -> str:
    drive, episode = deficits[0]
    into = duration(episode["start_s"] - drive["start_s"])
    dated = f" {on(drive['dated']) or '(undated)'}"
    if len(report["drives"]) == 1:
        return f"From {clock(episode['start_s'])} on, {into} into the drive{dated}."
    if drive["number"] == 1:
        return f"Since the first of these drives{dated}, {into} into it: it may be older."
    return f"Since drive {drive['number']}{dated}, {into} into it; the {drive['number'] - 1} before it show none."


def _when(report: dict[str, Any], deficits: Deficits) -> str:
    told = []
    into = sorted((episode["start_s"] - drive["start_s"]) / 60 for drive, episode in deficits)
    if len(into) > 1:
        first, last = f"{into[0]:.0f}", f"{into[-1]:.0f}"
        told.append(f"It begins {first if first == last else f'{first} to {last}'} min into the drive.")
    speeds = [drive["idle"] for drive, _ in deficits if drive["idle"]]
    if speeds:
        short_s = {drive["number"]: drive["idle"]["idle_short_s"] for drive, _ in deficits if drive["idle"]}
        told.append(f"{duration(sum(short_s.values()))} of it at 500 to 900 rpm.")
    planned = [episode for episode in report.get("plan", {}).get("episodes", ()) if episode["foreseen"]]
    if planned:
        where = sorted({f"{one['nearest']['speed']}, {one['nearest']['situation']}" for one in planned})
        told.append(f"It is what the car file foresees at {'; '.join(where)}.")
    charged = [drive["set_point_volts"] for drive, _ in deficits if drive["set_point_volts"] is not None]
    if charged:
        least, most = f"{min(charged):.2f}", f"{max(charged):.2f}"
        at = f"{least} V (median)" if least == most else f"{least} to {most} V (medians)"
        told.append(f"At other times of the same drive it charged, at {at}.")
    elif not any(drive["charged"] for drive, _ in deficits):
        told.append("It never charged in these drives.")
    return " ".join(told)


def _cost(report: dict[str, Any], deficits: Deficits) -> str:
    episodes = [episode for _, episode in deficits]
    volts = [episode["lowest_volts"] for episode in episodes if episode["lowest_volts"] is not None]
    told = f"{given(episodes)}." + (f" The volts fell to {min(volts):.2f} V." if volts else "")
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
    plan = report.get("plan")
    if plan and any(episode["foreseen"] for episode in plan["episodes"]) and closing(plan):
        return f"By the car file any one of these, margin included: {'; '.join(closing(plan))}."
    if plan and plan["checks"]:
        return "The car differs from its file. " + " ".join(check["text"] for check in plan["checks"])
    if all(drive["charged"] for drive, _ in deficits):
        return (
            "A higher idle, a smaller alternator pulley, more rated output or less load at idle. How much of each, the "
            "plan of a car file says."
        )
    return "First see that the alternator charges at all: belt, its fuse, the charge cable, the grounds, the machine."
