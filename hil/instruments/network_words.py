"""The words for how a network is secured and what it speaks: those of its plan, which the keeper takes too."""

from typing import Literal

KeyManagement = Literal["wpa2", "wpa2 and wpa3", "wpa3"]
"""By what a member proves its key: PSK, either of the two (the transition mode of WPA3), or SAE."""
ProtectedFrames = Literal["off", "optional", "required"]
"""Whether management frames, such as a farewell, are protected (IEEE 802.11-2020, 12.2.8 and 9.4.2.24.4)."""
RadioMode = Literal["b", "g", "n"]
"""The newest that a network speaks: DSSS alone, OFDM too, or HT too (IEEE 802.11-2020, clauses 15 and 16, 18, and 19)."""
