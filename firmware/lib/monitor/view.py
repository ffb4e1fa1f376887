"""What a page of the panel, the lamp and the console may show of the present: plain integers.

The monitor keeps it up to date; whoever draws only reads.
"""

from chargecore.units import ABSENT


class Worst:
    """The worst of one drive: lowest second with the engine running [mV], lowest held while
    cranking [mV], deepest charge taken and not put back [A s], seconds in a deficit."""

    def __init__(self):
        self.reset()

    def reset(self):
        self.low_mv = ABSENT
        self.crank_mv = ABSENT
        self.deficit_as = 0
        self.deficit_s = 0
        self.length_s = 0


class View:
    def __init__(self):
        self.bus_mv = self.clamp_ma = ABSENT  # the newest sample
        self.state = self.warnings = 0  # chargecore.engine's
        self.saving = 0  # 1: below the cut-off, nothing is written
        self.key = ABSENT  # 1 on, 0 off, ABSENT without a sense wire
        # The present drive's ledger [A s, s]; out_as and in_as stay 0 without a clamp.
        self.out_as = self.in_as = self.deficit_as = self.low_s = 0
        self.drive = Worst()  # the present drive, or the latest while parked
        self.last = Worst()  # the drive before it
        # Board health.
        self.notice = ""  # what was wrong with the settings
        self.seconds = 0  # since power-up
        self.boot = self.rows = self.rows_dropped = 0
        self.free_kib = ABSENT  # of flash
        self.heap_free = ABSENT  # bytes
        self.errors = 0  # that the board remembers
        self.late_ms = 0  # the latest that a sample ever was
        self.skipped = 0  # samples given up because they were late
