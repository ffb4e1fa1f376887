"""What counts as charging, marginal, discharging: every limit in one place, each settable.

Defaults are common practice without a source, except where a source is named.
"""

# (name, default, lowest, highest); the same order in the journal's header.
FIELDS = (
    ("overcharge_mv", 15000, 14000, 18000),
    ("healthy_mv", 13500, 12500, 15000),
    ("marginal_mv", 13200, 12300, 14800),
    ("discharging_mv", 13000, 12200, 14600),
    # Half charge and empty, rested: BCI table for flooded batteries (docs/check-values.md).
    ("low_rest_mv", 12240, 11000, 12700),
    ("empty_mv", 11890, 10000, 12500),
    ("crank_mv", 11300, 9000, 12000),
    ("crank_drop_mv", 700, 200, 3000),
    # Half-CCA load test at 20 C and above: 9.6 V in several makers' manuals.
    ("weak_crank_mv", 9600, 6000, 11000),
    ("hysteresis_mv", 100, 10, 500),
    # A row that moves less than this is still: alternator, ignition and blowers never are.
    ("still_mv", 12, 2, 100),
    ("clamp_dead_ma", 1500, 100, 20000),
    ("discharging_ms", 5000, 1000, 60000),
    ("overcharge_ms", 5000, 1000, 60000),
    ("marginal_ms", 10000, 1000, 120000),
    ("charging_ms", 3000, 1000, 60000),
    ("clear_ms", 5000, 1000, 60000),
    ("rest_ms", 20000, 5000, 600000),
    ("sensor_ms", 60000, 10000, 600000),
)

_ORDER = ("empty_mv", "low_rest_mv", "discharging_mv", "marginal_mv", "healthy_mv", "overcharge_mv")


class Thresholds:
    """The limits in force, one attribute for each name in FIELDS."""

    overcharge_mv: int
    healthy_mv: int
    marginal_mv: int
    discharging_mv: int
    low_rest_mv: int
    empty_mv: int
    crank_mv: int
    crank_drop_mv: int
    weak_crank_mv: int
    hysteresis_mv: int
    still_mv: int
    clamp_dead_ma: int
    discharging_ms: int
    overcharge_ms: int
    marginal_ms: int
    charging_ms: int
    clear_ms: int
    rest_ms: int
    sensor_ms: int

    def __init__(self):
        for name, default, _, _ in FIELDS:
            setattr(self, name, default)


def check(values: dict) -> str:
    """'' if `values` (every name to an integer) is a consistent set, else one line saying why not."""
    for name, _, lowest, highest in FIELDS:
        value = values.get(name)
        if not isinstance(value, int) or not lowest <= value <= highest:
            return "%s is %r: must be a whole number from %d to %d" % (name, value, lowest, highest)
    for below, above in zip(_ORDER, _ORDER[1:]):
        if values[below] + values["hysteresis_mv"] >= values[above]:
            return "%s (%d) plus the hysteresis (%d) must stay below %s (%d)" % (
                below,
                values[below],
                values["hysteresis_mv"],
                above,
                values[above],
            )
    if values["weak_crank_mv"] >= values["crank_mv"]:
        return "weak_crank_mv (%d) must stay below crank_mv (%d)" % (values["weak_crank_mv"], values["crank_mv"])
    return ""
