"""A bench file of the virtual bench, to be written beside others of its kind and added to."""

BENCH = """
name = "bench 3"
kind = "virtual"

[virtual]
speed = 4.0
seed = 7

[air_monitor]
channels = [1, 6]
"""
