"""The virtual board: supply, serial port, flash and chip, in a process of its own (`python -m hil.virtual.board`)."""
