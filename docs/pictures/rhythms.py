"""The drawing of the lamp's rhythms in docs/display.md, from the very table that the firmware uses."""

from pathlib import Path

from monitor import signals

_SECONDS = 10.5
_SCALE = 60  # pixels a second
_LEFT, _TOP, _PITCH, _BAR = 210, 34, 30, 16
_WIDTH = _LEFT + round(_SECONDS * _SCALE) + 14
_HEIGHT = _TOP + _PITCH * len(signals.RHYTHMS) + 30


def flashes(rhythm: tuple[int, ...]) -> list[tuple[float, float]]:
    """(start [s], length [s]) of each flash within the drawing."""
    found: list[tuple[float, float]] = []
    at, place = 0, 0
    while at < _SECONDS * 10:
        part = rhythm[place % len(rhythm)]
        if place % 2 == 0:
            found.append((at / 10, min(at + part, _SECONDS * 10) / 10 - at / 10))
        at += part
        place += 1
    return found


def svg() -> str:
    """The drawing: a row for each rhythm, lit where the lamp is lit."""
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {_HEIGHT}" font-family="sans-serif" '
        'font-size="14" role="img" aria-label="The rhythms of the lamp over ten seconds">',
        f'<rect width="{_WIDTH}" height="{_HEIGHT}" fill="#ffffff"/>',
    ]
    bottom = _TOP + _PITCH * len(signals.RHYTHMS)
    for second in range(11):
        x = _LEFT + second * _SCALE
        lines.append(f'<line x1="{x}" y1="{_TOP - 8}" x2="{x}" y2="{bottom}" stroke="#d8dce2"/>')
        lines.append(f'<text x="{x}" y="{bottom + 18}" text-anchor="middle" fill="#555b66">{second} s</text>')
    for row, (name, rhythm) in enumerate(signals.RHYTHMS):
        y = _TOP + _PITCH * row
        lines.append(f'<text x="{_LEFT - 12}" y="{y + 13}" text-anchor="end" fill="#14181f">{name}</text>')
        lines.append(f'<rect x="{_LEFT}" y="{y + _BAR - 2}" width="{_SECONDS * _SCALE:g}" height="2" fill="#14181f"/>')
        lines += [
            f'<rect x="{_LEFT + start * _SCALE:g}" y="{y}" width="{length * _SCALE:g}" height="{_BAR}" fill="#14181f"/>'
            for start, length in flashes(rhythm)
        ]
    return "\n".join([*lines, "</svg>", ""])


def main(target: Path) -> None:
    (target / "rhythms.svg").write_text(svg())
