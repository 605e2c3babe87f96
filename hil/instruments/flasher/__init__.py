"""The flasher: its interface, and the ways in which a build gets onto a unit."""

from hil.instruments.flasher.flasher import ChipIdentity, FlashCheck, Flasher, NoLoader

__all__ = ["ChipIdentity", "FlashCheck", "Flasher", "NoLoader"]
