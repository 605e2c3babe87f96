"""Joining the saved network, noticing its loss, and the setup hotspot until it is back."""

import asyncio

import addresses
import chip
import radio
import stages
import unit as units
from waiting import until

JOIN_AT_MS = 2000
FIRST_START_READY_MS = 3200
GIVE_UP_AFTER_MS = 24000
BETWEEN_ATTEMPTS_S = 1.0
HOTSPOT_AFTER_GIVING_UP_S = 0.3
HOTSPOT_AFTER_START_S = 0.3
HOTSPOT_CHANNEL = 6
LOOK_AGAIN_AFTER_S = 6.0
ATTEMPT_IN_SETUP_MS = 15000


async def live(unit):
    """Go from starting through joining to connected or setup, for ever."""
    try:
        if await _network_to_join(unit):
            lease = None
            while True:
                await _join_while_it_can(unit, lease)
                await _open_hotspot(unit, HOTSPOT_AFTER_GIVING_UP_S)
                lease = await _network_back(unit.store.values)
                radio.unhost()
        else:
            await _open_hotspot(unit, HOTSPOT_AFTER_START_S)
    except radio.Broken as error:
        print("radio broken: " + str(error))
        unit.stages.enter(stages.FAULT)


async def _network_to_join(unit):
    """Make the settings ready, then return the name of the network to join, or nothing."""
    if unit.first_start:
        print("first start")
        unit.store.format()
        # the vent runs to both its ends once, to learn its way
        await until(FIRST_START_READY_MS)
    else:
        await until(JOIN_AT_MS)
    return unit.store.values["network"]


async def _join_while_it_can(unit, lease):
    """Join unless there is a lease, stay until the network is lost, join again; ends when joining was given up."""
    while True:
        if lease is None:
            unit.stages.enter(stages.JOINING)
            lease = await _join(unit.store.values, chip.awake_ms() + GIVE_UP_AFTER_MS)
        if lease is None:
            return
        unit.address = lease["ip"]
        print("address " + unit.address)
        unit.stages.enter(stages.CONNECTED)
        await _network_lost()
        unit.address = ""
        lease = None


async def _join(values, give_up_ms):
    """Try again and again until there is a lease (or the fixed address holds), or None when time is up."""
    while True:
        print("joining '%s'" % values["network"])
        lease = await _attempt(values, give_up_ms)
        if lease is not None:
            return lease
        left_s = (give_up_ms - chip.awake_ms()) / 1000
        if left_s <= BETWEEN_ATTEMPTS_S:
            await until(give_up_ms)
            return None
        await asyncio.sleep(BETWEEN_ATTEMPTS_S)


async def _attempt(values, give_up_ms):
    """Try once; the lease, or None when it failed or time is up.

    A slow access point or lease is waited for: only a plain failure ends an attempt early.
    """
    radio.forget_events()
    radio.join(values["network"].encode(), values["network_key"], addresses.fixed(values))
    joined = False
    while True:
        event = await radio.next_event((give_up_ms - chip.awake_ms()) / 1000)
        if event is None:
            radio.leave()
            return None
        if event["event"] in ("leased", "addressed"):
            return event
        if event["event"] == "joined":
            joined = True
        elif event["event"] == "join failed" or joined:
            print("not joined: %s" % event.get("why", "left"))
            return None


async def _network_lost():
    """Wait until the network is gone."""
    while True:
        event = await radio.next_event(3600.0)
        if event is not None and event["event"] == "left":
            print("network lost")
            return


def hotspot_name():
    """Return the name of this unit's own hotspot."""
    return "mossgate-" + chip.address().replace(":", "")[-4:].lower()


async def _open_hotspot(unit, after_s):
    """Show that a person must act, and open the hotspot."""
    unit.stages.enter(stages.SETUP)
    await asyncio.sleep(after_s)
    radio.host(hotspot_name().encode(), chip.label_key(), HOTSPOT_CHANNEL, units.HOTSPOT_ADDRESS)
    unit.address = units.HOTSPOT_ADDRESS
    print("hotspot '%s'" % hotspot_name())


async def _network_back(values):
    """Try to join now and then while nobody is on the hotspot; the lease, once the network is back.

    The stage stays setup meanwhile: a try that fails must not disturb who is about to come.
    """
    while True:
        await asyncio.sleep(LOOK_AGAIN_AFTER_S)
        if radio.guests():
            continue
        lease = await _attempt(values, chip.awake_ms() + ATTEMPT_IN_SETUP_MS)
        if lease is not None and not radio.guests():
            return lease
        radio.leave()
