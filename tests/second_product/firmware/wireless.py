"""The Wi-Fi life of the sensor: into the saved network, and a hotspot of its own for as long as that is not to be had."""

import asyncio

import about
import chip
import light
import radio

FIRST_STEP_MS = 2400
PATIENCE_MS = 15000
BREATH_S = 1.5
HOTSPOT_PAUSE_S = 0.4
LOOK_ROUND_S = 7.0
TRY_FROM_HOTSPOT_MS = 12000


def hotspot_name():
    """Return the name of the sensor's own network: a stem and the end of its radio address."""
    octets = chip.address().lower().split(":")
    return about.HOTSPOT_STEM + octets[4] + octets[5]


async def live(sensor):
    """Go from step to step, for ever; each step returns the next one."""
    await asyncio.sleep(max(0.0, (FIRST_STEP_MS - chip.awake_ms()) / 1000))
    step = _join if sensor.memory.settings["wifi.ssid"] else _stay_in_setup
    try:
        while True:
            step = await step(sensor)
    except radio.Broken:
        sensor.enter(light.FAULT)


async def _join(sensor):
    sensor.enter(light.JOINING)
    end_ms = chip.awake_ms() + PATIENCE_MS
    while True:
        sensor.ip = await _try(sensor, end_ms)
        if sensor.ip:
            return _stay_connected
        if chip.awake_ms() + BREATH_S * 1000 >= end_ms:
            await asyncio.sleep(max(0.0, (end_ms - chip.awake_ms()) / 1000))
            return _stay_in_setup
        await asyncio.sleep(BREATH_S)


async def _stay_connected(sensor):
    sensor.enter(light.CONNECTED)
    while True:
        event = await radio.next_event(600.0)
        if event and event["event"] == "left":
            sensor.ip = ""
            return _join


async def _stay_in_setup(sensor):
    sensor.enter(light.SETUP)
    await asyncio.sleep(HOTSPOT_PAUSE_S)
    radio.host(hotspot_name().encode(), "", about.HOTSPOT_CHANNEL, about.HOTSPOT_IP)
    sensor.ip = about.HOTSPOT_IP
    while True:
        await asyncio.sleep(LOOK_ROUND_S)
        if await _network_is_there(sensor):
            ip = await _try(sensor, chip.awake_ms() + TRY_FROM_HOTSPOT_MS)
            if ip and not radio.guests():
                radio.unhost()
                sensor.ip = ip
                return _stay_connected
            radio.leave()


async def _network_is_there(sensor):
    """Look whether the saved network is on the air; while somebody is on the hotspot nothing is looked for."""
    name = sensor.memory.settings["wifi.ssid"].encode()
    if not name or radio.guests():
        return False
    try:
        return name in [found[0] for found in await radio.scan()]
    except (OSError, asyncio.TimeoutError):
        return False


async def _try(sensor, end_ms):
    """Make one attempt; return the address it came to, or nothing."""
    settings = sensor.memory.settings
    radio.forget_events()
    radio.join(settings["wifi.ssid"].encode(), settings["wifi.key"])
    inside = False
    while chip.awake_ms() < end_ms:
        event = await radio.next_event((end_ms - chip.awake_ms()) / 1000)
        kind = event["event"] if event else ""
        if kind == "leased":
            return event["ip"]
        if kind == "join failed" or (kind == "left" and inside):
            return ""
        inside = inside or kind == "joined"
    radio.leave()
    return ""
