"""Where a current goes and what it loses there, in words that add up: one after the other, side by side."""

from collections.abc import Mapping, Sequence

from underdash.carfile.model import ENGINE, GROUND, GROUND_SIDE, CarFile
from underdash.plan.charge_path.currents import Flow
from underdash.wire.network import Branch

_SHOWN_V = 0.0005
_SOLVED_V = 1e-6  # less is a dead end, and the solver's rounding


def lost_where(along: Flow, side: str) -> str:
    """The losses of one way, which add up to the drop, and those of what lies side by side with it."""
    main, beside = along.main_way, [branch for branch in along.beside if along.lost_v(branch) >= _SHOWN_V]
    ends = {branch.name: {branch.start, branch.end} for branch in along.branches if along.lost_v(branch) > _SOLVED_V}
    chains = _chains([branch.name for branch in beside], ends, {along.start, along.end})
    if side == GROUND_SIDE:  # told from the engine, where the machine is, to the battery
        main, chains = main[::-1], [chain[::-1] for chain in chains]
    by_name = {branch.name: branch for branch in along.branches}

    def told(branch: Branch) -> str:
        at = f" at {amps(abs(along.amps[branch.name]))}" if beside else ""
        return f"{branch.name} {along.lost_v(branch):.3f} V{at}"

    text = " + ".join(told(branch) for branch in main)
    if len(main) > 1:
        text += f" = {along.drop_v:.3f} V"
    others = [" + ".join(told(by_name[name]) for name in chain) for chain in chains]
    return f"{text}; side by side with that: {', '.join(others)}" if others else text


def shares(car: CarFile, ground_shares: Sequence[tuple[str, float]]) -> str:
    """The ground's ways side by side, each with its share; cables that follow one another are one way."""
    ends = {cable.name: {cable.start, cable.end} for cable in car.cables if cable.side == GROUND_SIDE}
    share = {name: part for name, part in ground_shares if part >= 0.001}
    chains = _chains(list(share), {name: ends[name] for name in share}, {GROUND, ENGINE})
    chains = [chain[::-1] if ENGINE in ends[chain[-1]] else chain for chain in chains]
    text = ", ".join(f"{' and then '.join(chain)} {share[chain[0]]:.0%}" for chain in chains)
    return f"side by side: {text}" if len(chains) > 1 else text


def amps(value: float) -> str:
    """`75 A`, `7.5 A`."""
    return f"{value:.0f} A" if value >= 9.95 else f"{value:.1f} A"


def mohm(ohm: float) -> str:
    """`6.2 mohm`, `0.43 mohm`."""
    return f"{ohm * 1000:.{1 if ohm >= 0.00495 else 2}f} mohm"


def _chains(names: Sequence[str], ends: Mapping[str, set[str]], terminals: set[str]) -> list[list[str]]:
    """`names` in their order, those in series joined: two that meet where no third of `ends` does."""
    left, found = list(names), []
    while left:
        chain = [left.pop(0)]
        grown = True
        while grown:
            grown = False
            for name in left:
                at = next((i for i in (-1, 0) if _in_series(chain[i], name, ends, terminals)), None)
                if at is None:
                    continue
                chain.insert(0 if at == 0 else len(chain), name)
                left.remove(name)
                grown = True
                break
        found.append(chain)
    return found


def _in_series(one: str, other: str, ends: Mapping[str, set[str]], terminals: set[str]) -> bool:
    """True if two meet where no third does, nor the way begins or ends."""
    meeting = ends[one] & ends[other] - terminals
    return any(sum(place in pair for pair in ends.values()) == 2 for place in meeting)
