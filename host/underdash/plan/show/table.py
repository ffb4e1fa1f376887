"""A table of the plan's text that fits its breadth, with the captions of what is shown."""

from collections.abc import Sequence
from dataclasses import dataclass

import rich.table
from rich.box import SIMPLE_HEAD
from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.padding import Padding
from rich.text import Text

_GAP = 2  # columns between two of a table
_LONGEST = 14  # columns that the longest word of a wrapping one may claim


def soft(words: str) -> RenderableType:
    """Words below a table."""
    return Padding(Text(words), (0, 0, 0, 2))


@dataclass(frozen=True)
class Table:
    """A table; columns are on the right but for those of `left`, which wrap. Where the breadth does not hold all,
    those of `spare` are left out, the first first. Of `captions`, (columns, words), those stand below it whose
    columns are all shown."""

    heads: Sequence[str]
    rows: Sequence[Sequence[str]]
    left: Sequence[int] = (0,)
    spare: Sequence[int] = ()
    captions: Sequence[tuple[Sequence[int], str]] = ()

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        shown = list(range(len(self.heads)))
        spare = list(self.spare)
        while spare and sum(self._least(at) + _GAP for at in shown) > options.max_width - _GAP:
            shown.remove(spare.pop(0))
        table = rich.table.Table(
            box=SIMPLE_HEAD, pad_edge=False, padding=(0, 1), collapse_padding=True, show_edge=False
        )
        for at in shown:
            wraps = at in self.left
            table.add_column(Text(self.heads[at]), justify="left" if wraps else "right", overflow="fold",
                             no_wrap=not wraps, min_width=self._least(at))  # fmt: skip
        for row in self.rows:
            table.add_row(*(Text(row[at]) for at in shown))
        yield table
        if told := " ".join(words for columns, words in self.captions if words and set(columns) <= set(shown)):
            yield soft(told)

    def _least(self, at: int) -> int:
        """The least breadth of a column [columns]: a wrapping one needs room for its longest word, within reason."""
        cells = [self.heads[at], *(row[at] for row in self.rows)]
        if at not in self.left:
            return max(map(len, cells))
        return min(max((len(word) for cell in cells for word in cell.split()), default=1), _LONGEST)
