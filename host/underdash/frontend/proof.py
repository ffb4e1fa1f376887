"""All cases in all corners, simulated: the proof that a front end survives."""

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

from underdash.frontend.cases import Case, cases
from underdash.frontend.checks import Check, Outcome, check, outcome
from underdash.frontend.corners import Corner, corners
from underdash.frontend.netlist import deck
from underdash.frontend.parts import Values
from underdash.frontend.spice import program, run
from underdash.frontend.standing import check_joints, standing
from underdash.problems import UsageError

_PROCESSES = 2


@dataclass(frozen=True)
class CaseResult:
    """A case in all its corners: the worst of each check, and the worst outcome."""

    case: Case
    checks: list[Check]
    outcome: Outcome

    @property
    def worst(self) -> Check:
        return max(self.checks, key=lambda found: found.share)

    @property
    def failures(self) -> list[Check]:
        return [found for found in self.checks if not found.passed]


@dataclass(frozen=True)
class Proof:
    """results: in the order of the cases. skipped: cases whose option is not fitted. corners: their names.
    standing: what is wrong in any case, a line each."""

    results: list[CaseResult]
    skipped: list[Case]
    corners: list[str]
    standing: list[str]

    @property
    def failures(self) -> list[Check]:
        return [found for result in self.results for found in result.failures]


def chosen(values: Values, names: Iterable[str] = ()) -> tuple[list[Case], list[Case]]:
    """The cases by name (all without names), and those of them that do not apply to this front end.
    UsageError for a name that is none."""
    known = {case.name: case for case in cases()}
    for name in names:
        if name not in known:
            raise UsageError(f"--case {name}: no such case; there are {', '.join(known)}")
    wanted = [known[name] for name in dict.fromkeys(names)] or list(known.values())
    clamp = any(part.kind == "clamp" for part in values.present())
    skipped = [case for case in wanted if case.clamp != "plugged" and not clamp]
    return [case for case in wanted if case not in skipped], skipped


def prove(values: Values, names: Iterable[str] = (), quick: bool = False,
          progress: Callable[[int, int], None] = lambda done, total: None) -> Proof:  # fmt: skip
    """Simulate. quick: nominal values only. progress: called with runs done, and all.

    UsageError for an unknown case or a front end without the parts that every one needs; UnderdashError
    if ngspice is missing or finds no solution.
    """
    whole(values)
    program()
    wanted, skipped = chosen(values, names)
    ends = corners(quick)
    jobs = [(case, corner) for case in wanted for corner in ends if corner.through <= 0 or not case.sags]
    done = 0
    found: dict[str, list[tuple[list[Check], Outcome]]] = {case.name: [] for case in wanted}

    def one(job: tuple[Case, Corner]) -> tuple[str, list[Check], Outcome]:
        case, corner = job
        trace = run(deck(values, case, corner), f"{values.path.name}: case {case.name}, corner {corner.name}")
        return case.name, check(values, case, corner, trace), outcome(values, trace)

    with ThreadPoolExecutor(_PROCESSES) as pool:
        try:
            for name, checks, ended in pool.map(one, jobs):
                found[name].append((checks, ended))
                done += 1
                progress(done, len(jobs))
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise
    results = [_merged(case, found[case.name]) for case in wanted]
    return Proof(results, skipped, [corner.name for corner in ends], standing(values))


def _merged(case: Case, runs: list[tuple[list[Check], Outcome]]) -> CaseResult:
    worst: dict[tuple[str, str], Check] = {}
    for checks, _ in runs:
        for found in checks:
            key = (found.subject, found.what.partition(",")[0] if "wide" in found.what else found.what)
            if key not in worst or found.share > worst[key].share:
                worst[key] = found
    return CaseResult(case, list(worst.values()), max((ended for _, ended in runs), key=lambda ended: ended.off))


# Without these nothing can be said of a front end.
_NEEDED = {"board": "the board itself", "regulator": "what makes 5 V of the battery", "fuse": "the fuse at the source"}


def whole(values: Values) -> None:
    """UsageError if a part is missing without which there is nothing to simulate."""
    for kind, why in _NEEDED.items():
        count = sum(part.kind == kind for part in values.present())
        if count != 1:
            raise UsageError(f"{values.path}: has {count} parts of kind {kind}, {why}; a front end needs 1")
    for start in ("battery", "vsys", "v3"):
        if not any(start in part.nodes for part in values.present()):
            raise UsageError(f"{values.path}: no part is at the node {start}; look at the spelling of its nodes")
    check_joints(values)
