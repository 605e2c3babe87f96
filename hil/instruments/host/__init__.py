"""Instruments on the host's own radios, each in a network namespace of its own, and the daemons that drive them."""
