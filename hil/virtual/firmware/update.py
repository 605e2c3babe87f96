"""The update over the network: an image is written beside the running program as it comes, and started once it is whole.

An image: magic, length and SHA-256 of what follows, and that. Nothing is switched before
all of it stands in the flash as it should; until then the running program stays the one.
"""

import asyncio
import hashlib
import struct

import chip
import slots
import stages
from waiting import until
from web import Refused, Reply

MAGIC = b"MVIMAGE1"
FAMILY = b"MVIMAGE"
HEAD = "<8sI32s"
HEAD_SIZE = struct.calcsize(HEAD)
RESTART_AFTER_MS = 1000


class NotTaken(Exception):
    """What was sent is not started."""

    def __init__(self, status, message):
        super().__init__(message)
        self.status = status
        self.message = message


class Update:
    """Takes an image, one at a time."""

    def __init__(self, unit):
        self._unit = unit
        self._restarting = None

    async def take(self, request):
        """Write what is sent and switch to it; returns the reply."""
        if self._restarting:
            return Reply(503, "The unit restarts just now.\n")
        self._unit.stages.enter(stages.UPDATING)
        try:
            await _write(request.stream)
            slots.select()
        except NotTaken as error:
            return self._go_on(error.status, error.message)
        except Refused as error:
            return self._go_on(error.status, "The image did not come whole.")
        except OSError as error:
            return self._go_on(500, "The image could not be stored: %s." % error)
        except asyncio.TimeoutError:
            return self._go_on(408, "The image did not come in time.")
        print("update stored")
        self._restarting = asyncio.create_task(_restart(chip.awake_ms() + RESTART_AFTER_MS))
        return Reply(200, "Stored. Restarting.\n")

    def _go_on(self, status, why):
        print("update not taken: " + why)
        if self._unit.stages.now == stages.UPDATING:
            self._unit.stages.enter(stages.CONNECTED)
        return Reply(status, why + "\n")


async def _write(stream):
    """Write an image into the free place and see that it stands there; raises NotTaken, and what reading raises."""
    if stream.length > slots.SIZE:
        raise NotTaken(
            413, "The image does not fit: it has %d octets, and there is room for %d." % (stream.length, slots.SIZE)
        )
    length = digest = None
    for at in range(0, stream.length, slots.SECTOR_SIZE):
        piece = await stream.read(min(slots.SECTOR_SIZE, stream.length - at))
        if at == 0:
            length, digest = _parse(piece, stream.length)
        await slots.erase(at)
        await slots.write(at, piece)
    if length is None or await _digest(length) != digest:
        raise NotTaken(400, "The image is damaged: its SHA-256 is not the one it states.")


def _parse(first, sent):
    """Return length and SHA-256 that an image states of what follows its head; raises NotTaken."""
    if len(first) < HEAD_SIZE or not first.startswith(FAMILY):
        raise NotTaken(400, "This is no image for this unit.")
    if not first.startswith(MAGIC):
        raise NotTaken(400, "This image is for another product.")
    length, digest = struct.unpack(HEAD, first[:HEAD_SIZE])[1:]
    if HEAD_SIZE + length != sent:
        raise NotTaken(
            400, "The image is not whole: it should have %d octets, and %d came." % (HEAD_SIZE + length, sent)
        )
    return length, digest


async def _digest(length):
    """Return the SHA-256 of what follows the head in the free place."""
    total = hashlib.sha256()
    end = HEAD_SIZE + length
    for at in range(0, end, slots.SECTOR_SIZE):
        octets = slots.read(at, min(slots.SECTOR_SIZE, end - at))
        total.update(octets if at else octets[HEAD_SIZE:])
        await asyncio.sleep(0)
    return total.digest()


async def _restart(at_ms):
    await until(at_ms)
    print("restarting")
    chip.reset()
