"""Which question gets which answer. Settings are shown and taken on the sensor's own hotspot only."""

import asyncio
import json

import chip
import fields
import light
import memory
import screens
from webserver import answer

JSON = "application/json"
STARTS_AGAIN_S = 1.0


class Routes:
    """Answers for one sensor."""

    def __init__(self, sensor):
        self._sensor = sensor
        self._starting_again = None

    def reply(self, question):
        """Return the answer to a question."""
        in_setup = self._sensor.stage == light.SETUP
        known = {"/state": {"GET": self._state}}
        if in_setup:
            known["/config"] = {"GET": self._config}
            known["/api/config"] = {"GET": self._stored, "POST": self._take}
        if question.path == "/":
            return answer(302, "", Location="/config" if in_setup else "/state")
        if question.path not in known:
            return answer(404, "Nothing here.\n")
        methods = known[question.path]
        method = "GET" if question.method == "HEAD" else question.method
        if method not in methods:
            return answer(405, "Not like that.\n", Allow=", ".join(sorted(methods)))
        return methods[method](question)

    def _state(self, question):
        return answer(200, screens.state(self._sensor), "text/html")

    def _config(self, question):
        return answer(200, screens.config(), "text/html")

    def _stored(self, question):
        return answer(200, json.dumps(fields.shown(self._sensor.memory.settings)), JSON)

    def _take(self, question):
        """Check and save what was sent; then the sensor starts again."""
        if self._starting_again is not None:
            return _refusal(409, ["The sensor is about to start again."])
        if question.fields.get("content-type", "").partition(";")[0].strip().lower() != JSON:
            return _refusal(415, ["Settings come as JSON."])
        try:
            new, wrong = fields.changed(self._sensor.memory.settings, json.loads(question.body.decode()))
        except (ValueError, RuntimeError) as error:  # of JSON nested too deeply, too
            return _refusal(400, ["Not understood: %s." % error])
        if wrong:
            return _refusal(400, wrong)
        try:
            self._sensor.memory.save(new)
        except memory.Full:
            return _refusal(500, ["The settings could not be stored."])
        self._starting_again = asyncio.create_task(_start_again())
        return answer(200, json.dumps({"saved": True}), JSON)


def _refusal(status, reasons):
    return answer(status, json.dumps({"errors": reasons}), JSON)


async def _start_again():
    await asyncio.sleep(STARTS_AGAIN_S)
    chip.reset()
