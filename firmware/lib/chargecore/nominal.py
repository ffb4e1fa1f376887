"""What a board starts from until it is calibrated. Made from hardware/values.toml by `make hardware`."""

from chargecore.shim import const

BUS_ZERO = const(224)
BUS_GAIN_NV = const(276410)  # 18.263 V at full scale
CLAMP_ZERO = const(31001)  # 1.523 V at the pin
CLAMP_GAIN_UA = const(4062)  # 12.19 mV/A at the pin
