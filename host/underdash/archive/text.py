"""The archive's reports as lines of text."""

from underdash.archive.check import Checked
from underdash.archive.dates import BootDate, utc
from underdash.archive.merge import Merged


def checked(found: Checked) -> list[str]:
    """What `underdash archive check` says of one board's folder."""
    lines = [
        f"{found.folder}: board {found.board}, {found.segments} segments, {found.bytes} bytes, {found.rows} rows, "
        f"{found.lost_rows} rows lost"
    ]
    for stretch, date in found.boots:
        length = f"{stretch.first_s:.0f} to {stretch.last_s:.0f} s, {stretch.rows} rows" if stretch.rows else "no rows"
        lines.append(f"  boot {stretch.boot}: {length}; {dated(date)}")
    for gap in found.gaps:
        lines.append(f"  gap: boot {gap.boot} at {gap.start_s:.1f} s, {gap.length_s:.1f} s: {gap.why}")
    for one in found.damage:
        lines.append(
            f"  damaged: segment {one.segment}, {one.what}, bytes {one.offset} to {one.offset + one.length - 1}, "
            f"{_WHEN[one.when]}"
        )
    lines += [f"  problem: {problem}" for problem in found.problems]
    lines += [f"  note: {note}" for note in found.notes]
    lines.append(f"  {'DAMAGED, as told above; the rest is whole' if found.damaged else 'every frame is whole'}")
    return lines


_WHEN = {
    "before the pull": "on the board or before (it was pulled so)",
    "since the pull": "since the pull: this computer's disk",
    "unknown": "on the board or here (no checksum was kept)",
}


def dated(date: BootDate) -> str:
    """When a boot's t = 0 was, in words."""
    if date.unix_s is not None:
        return f"began {date.iso()} give or take {date.uncertainty_s:.0f} s"
    if date.how == "undated":
        return "undated"
    bounds = [
        f"{word} {utc(value)}"
        for word, value in (("after", date.after_s), ("before", date.before_s))
        if value is not None
    ]
    return f"began {' and '.join(bounds)}"


def merged(done: Merged, dry_run: bool) -> list[str]:
    """What `underdash archive merge` says of one folder; the lines of what was refused are not in it."""
    if not done.changes:
        told = f"nothing new, {done.same} segments there already"
    else:
        parts = [
            f"{len(numbers)} {word}"
            for word, numbers in (("added", done.added), ("grown", done.grown), ("mended", done.mended))
            if numbers
        ]
        told = f"segments: {', '.join([*parts, f'{done.same} there already'])}; {done.anchors} new dates"
    would = " (dry run: nothing was written)" if dry_run else ""
    return [f"{done.folder}: {told}{would}", *(f"  left out: {line}" for line in done.left_out)]
