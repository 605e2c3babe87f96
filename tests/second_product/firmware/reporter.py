"""Sends the rain to whoever collects it, as JSON over HTTP."""

import asyncio
import json

import light
import serving

ANSWER_S = 8.0


async def report_for_ever(sensor):
    """Send a report every so many minutes, while connected."""
    while True:
        await asyncio.sleep(60.0 * sensor.memory.settings["report.every_min"])
        if sensor.stage == light.CONNECTED and sensor.memory.settings["report.url"]:
            try:
                sensor.report = await asyncio.wait_for(_send(sensor), ANSWER_S)
            except (OSError, ValueError, asyncio.TimeoutError):
                sensor.report = "no answer"


async def _send(sensor):
    settings = sensor.memory.settings
    place, _, path = settings["report.url"][len("http://") :].partition("/")
    host, _, port = place.partition(":")
    rain = {"station": settings["station.name"], "rain_mm": sensor.bucket.rain_mm(settings["bucket.mm_per_tip"])}
    body = json.dumps(rain).encode()
    head = "POST /%s HTTP/1.0\r\nHost: %s\r\nX-Token: %s\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n"
    reader, writer = await serving.dial(host, int(port or 80))
    try:
        writer.write((head % (path, place, settings["report.token"], len(body))).encode() + body)
        await writer.drain()
        status = await reader.readline()
    finally:
        writer.close()
    return "taken" if status.split(b" ")[1:2] == [b"200"] else "refused"
