"""Waiting for points in the unit's life, counted in milliseconds since power-on."""

import asyncio
import time

import chip


def sleep_until(awake_ms):
    """Wait with everything at rest until the unit has been awake so long."""
    left_ms = awake_ms - chip.awake_ms()
    if left_ms > 0:
        time.sleep_ms(int(left_ms))


async def until(awake_ms):
    """Wait, while other tasks run, until the unit has been awake so long."""
    left_ms = awake_ms - chip.awake_ms()
    if left_ms > 0:
        await asyncio.sleep(left_ms / 1000)
