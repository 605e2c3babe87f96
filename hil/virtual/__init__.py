"""The virtual bench: a board, an air and a scene in processes of their own, and the demo product they stand for."""

from pathlib import Path

DEMO_PRODUCT = Path(__file__).with_name("mossgate.toml")
DEMO_BENCH = Path(__file__).with_name("virtual_bench.toml")
