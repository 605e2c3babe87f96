"""Which page is at which path, and who may see it."""

import asyncio
import binascii

import captive
import chip
import form
import origin
import settings
import stages
import status
import update
from markup import page
from waiting import until
from web import Reply

USER = "vent"
UPDATE = "/update"
RESTART_AFTER_MS = 2000


class Pages:
    """Answers requests: the form openly on the hotspot, with the update key when connected."""

    def __init__(self, unit):
        self._unit = unit
        self._update = update.Update(unit)
        self._restarting = None

    async def answer(self, request):
        """Return the reply to a request."""
        arrived_ms = chip.awake_ms()
        here = self._paths()
        if request.path not in here:
            if request.method == "GET" and self._unit.stages.now == stages.SETUP:
                return captive.lead_home()
            return Reply(404, "There is no such page.\n")
        method, needs_key, show = here[request.path]
        if request.method != method:
            return Reply(405, "Method not allowed.\n", (("Allow", method),))
        if needs_key and not self._has_key(request):
            return Reply(401, "The update key is needed.\n", (("WWW-Authenticate", 'Basic realm="vent settings", charset="UTF-8"'),))
        if method == "POST" and origin.is_foreign(request):
            return Reply(403, "Another page may not change the settings.\n")
        if request.stream:
            return await self._update.take(request)
        return show(request, arrived_ms)

    def _paths(self):
        """Return path: method, whether it needs the update key, and what answers it."""
        paths = {"/now": ("GET", False, self._status)}
        if self._unit.stages.now == stages.SETUP:
            paths["/"] = ("GET", False, self._form)
            paths["/save"] = ("POST", False, self._save)
        elif self._unit.stages.now == stages.CONNECTED:
            paths["/"] = ("GET", False, self._home)
            paths["/settings"] = ("GET", True, self._form)
            paths["/save"] = ("POST", True, self._save)
            paths[UPDATE] = ("POST", True, None)
        return paths

    def _has_key(self, request):
        """Tell whether a request carries the update key (HTTP basic authentication, RFC 7617)."""
        kind, _, coded = request.headers.get("authorization", "").partition(" ")
        if kind.lower() != "basic":
            return False
        try:
            said = binascii.a2b_base64(coded.strip()).decode()
        except (ValueError, UnicodeError):
            return False
        return said == "%s:%s" % (USER, self._unit.store.values["update_key"])

    def _home(self, request, arrived_ms):
        links = '<p><a href="/now">What the vent does now</a></p>\n<p><a href="/settings">Settings</a></p>\n'
        return Reply(200, page("Vent", links))

    def _status(self, request, arrived_ms):
        return Reply(200, status.show(self._unit))

    def _form(self, request, arrived_ms):
        return Reply(200, form.show(self._unit.store.values, "/save"))

    def _save(self, request, arrived_ms):
        """Check and save what the form sent; then the unit restarts."""
        if self._restarting:
            return Reply(503, "The unit restarts just now.\n")
        stored = self._unit.store.values
        try:
            sent = form.decode(request.body)
        except ValueError as error:
            return Reply(400, form.show(stored, "/save", ("The form could not be read: %s." % error,)))
        values, wrong = form.merge(stored, sent)
        if wrong:
            return Reply(400, form.show(values, "/save", wrong))
        try:
            self._unit.store.save(values)
        except settings.NotSaved as error:
            return Reply(500, form.show(stored, "/save", ("The settings could not be stored: %s." % error,)))
        print("settings saved")
        self._restarting = asyncio.create_task(_restart(arrived_ms + RESTART_AFTER_MS))
        return Reply(200, page("Saved", "<p>Saved. Restarting.</p>\n"))


async def _restart(at_ms):
    await until(at_ms)
    print("restarting")
    chip.reset()
