"""What a board starts from until it is calibrated. Made from hardware/values.toml by `make hardware`."""

from chargecore.shim import const

BUS_ZERO = const(224)
BUS_GAIN_NV = const(276199)  # 18.249 V at full scale
CLAMP_ZERO = const(30721)  # 1.523 V at the pin
CLAMP_GAIN_UA = const(4099)  # 12.19 mV/A at the pin
