"""The virtual air: frames as bytes between stations, in a process of its own (`python -m hil.virtual.air`)."""
