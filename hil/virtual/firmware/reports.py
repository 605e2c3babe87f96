"""Reports of the vent position, sent to the address in the settings; a failure is shown, never fatal."""

import asyncio
import json

import chip
import serving
import stages
from connections import close

LIMIT_S = 8.0
LOOK_EVERY_S = 1.0


async def follow(unit):
    """Report soon after connecting and then every so often while connected, for ever."""
    due_ms = 0
    while True:
        if unit.stages.now == stages.CONNECTED and chip.awake_ms() >= due_ms and unit.store.values["reports_to"]:
            due_ms = chip.awake_ms() + unit.store.values["report_every_s"] * 1000
            unit.last_report = await _report(unit)
        await asyncio.sleep(LOOK_EVERY_S)


async def _report(unit):
    """Send one report; returns what became of it."""
    try:
        return await asyncio.wait_for(_post(unit), LIMIT_S)
    except asyncio.TimeoutError:
        return "failed: no answer"
    except (OSError, ValueError) as error:
        return "failed: %s" % error


async def _post(unit):
    host, port, path = split_url(unit.store.values["reports_to"])
    reader, writer = await serving.dial(host, port)
    try:
        writer.write(_request(unit, host, path))
        await writer.drain()
        answer = await _first_octets(reader, len("HTTP/1.1 200"))
    finally:
        await close(writer)
    if not answer.startswith(b"HTTP/1."):
        return "failed: no HTTP answer"
    code = answer[9:12].decode()
    return "sent" if code.startswith("2") else "failed: HTTP " + code


async def _first_octets(reader, count):
    octets = b""
    while len(octets) < count:
        piece = await reader.read(count - len(octets))
        if not piece:
            break
        octets += piece
    return octets


def _request(unit, host, path):
    values = unit.store.values
    body = json.dumps({"unit": values["unit_name"], "vent": unit.vent.position}).encode()
    key = "Authorization: Bearer %s\r\n" % values["report_key"] if values["report_key"] else ""
    head = "POST %s HTTP/1.1\r\nHost: %s\r\n%sContent-Type: application/json\r\nContent-Length: %d\r\nConnection: close\r\n\r\n"
    return (head % (path, host, key, len(body))).encode() + body


def split_url(url):
    """Return host, port and path of an http:// URL; raises ValueError."""
    if not url.startswith("http://"):
        raise ValueError("not an http:// address")
    place, _, path = url[7:].partition("/")
    host, _, port = place.partition(":")
    if not host:
        raise ValueError("no host in the address")
    return host, int(port) if port else 80, "/" + path
