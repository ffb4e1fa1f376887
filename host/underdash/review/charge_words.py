"""Charge and current in words, with no more figures than they bear."""

from math import floor, log10
from typing import Any

from underdash.review.words import figure

USUAL_A = 10.0  # what a car draws where nothing tells, for ranking only (chosen here)
LEAST_AH = 0.01  # less is not worth a word (chosen here)


def cost_ah(episode: dict[str, Any]) -> float:
    """What an episode took out of the battery, for ranking [Ah]: by the clamp; else the middle of its bounds; else a
    guess of USUAL_A."""
    if episode["charge_ah"] is not None:
        return float(max(-episode["charge_ah"], 0.0))
    if episode["charge_low_ah"] is not None:
        return float(-(episode["charge_low_ah"] + episode["charge_high_ah"]) / 2)
    return float(USUAL_A * episode["length_s"] / 3600)


def taken_ah(episode: dict[str, Any]) -> float:
    """What it took by clamp or volts [Ah]; 0 where neither tells."""
    return 0.0 if episode["charge_low_ah"] is None else cost_ah(episode)


def given(episodes: list[dict[str, Any]]) -> str:
    """How much the battery gave in these episodes, in a sentence, with what that rests on."""
    if all(episode["charge_ah"] is not None for episode in episodes):
        ah, hours = -sum(e["charge_ah"] for e in episodes), sum(e["length_s"] for e in episodes) / 3600
        mean_a = f", about {figure(ah / hours, 0)} A on average" if hours and ah / hours >= 1.0 else ""
        return f"It gave {measured_ah(ah, *given_ah(episodes))} by the clamp{mean_a}"
    if any(episode["charge_low_ah"] is None for episode in episodes):
        return "How much it gave is not known without a clamp"
    least, most = given_ah(episodes)
    return (
        f"By an estimate from the volts it gave {span_ah(least, most)} (no clamp; from {episodes[0]['charge_basis']})"
    )


def given_ah(episodes: list[dict[str, Any]]) -> tuple[float, float]:
    """The bounds, least and most, of what the battery gave in them [Ah]."""
    return -sum(e["charge_high_ah"] for e in episodes), -sum(e["charge_low_ah"] for e in episodes)


def decimals(off: float) -> int:
    """How many decimals a figure bears that may be out by `off`, at most two."""
    return min(max(-floor(log10(off)), 0), 2) if off > 0.0 else 2


def measured_ah(ah: float, least: float, most: float) -> str:
    """A measured charge and its bounds in words [Ah], positive, with no more decimals than the bounds bear."""
    digits = decimals((most - least) / 2)
    bounds = f"at most {most:.{digits}f}" if least <= 0.0 else f"{least:.{digits}f} to {most:.{digits}f}"
    return f"{figure(ah, digits)} Ah ({bounds})"


def moved(episode: dict[str, Any]) -> str:
    """What an episode took out of the battery or brought into it, in words; nothing where that is not known."""
    low, high = episode["charge_low_ah"], episode["charge_high_ah"]
    if low is None or max(-low, high) < LEAST_AH:
        return ""
    if episode["charge_ah"] is None:
        return f"gave {span_ah(-high, -low)}, estimated from the volts"
    if episode["charge_ah"] > 0.0:
        return f"took in {measured_ah(episode['charge_ah'], low, high)} by the clamp"
    return f"gave {measured_ah(-episode['charge_ah'], -high, -low)} by the clamp"


def way(amps: float) -> str:
    """A current and which way it flowed [A], in words."""
    return f"{figure(abs(amps), 1)} A {'into' if amps > 0.0 else 'out of'} the battery"


def span_ah(least: float, most: float) -> str:
    """Two bounds of a charge in words [Ah]."""
    if least < 0.05 * most:
        return f"at most {_two(most)} Ah"
    return f"between {_two(least)} and {_two(most)} Ah"


def _two(value: float) -> str:
    """A number of two digits that say something."""
    return f"{float(f'{value:.2g}'):g}"
