"""Which product this is, and which version of its program."""

PRODUCT = "MV-2"
MAKER = "mossgate"
HARDWARE_REVISION = "C"
VERSION = "1.4.0"
