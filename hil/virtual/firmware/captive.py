"""Leads whoever has strayed on the hotspot to the form.

Phones and computers ask for well-known pages to learn whether a network leads anywhere: for the address of
their names first, then for the pages. A redirect makes them show the form to their owner.
"""

import names
import serving
import stages
import unit as units
from web import Reply

HOME = "http://%s/" % units.HOTSPOT_ADDRESS
OWN_ADDRESS = bytes(int(part) for part in units.HOTSPOT_ADDRESS.split("."))
NAMES_PORT = 53


def lead_home():
    """Return the reply that leads to the form."""
    return Reply(302, "The settings are at %s\n" % HOME, (("Location", HOME),))


async def answer_names(unit):
    """Tell whoever asks for a name on the hotspot that it is this unit, for ever."""
    datagrams = serving.Datagrams(NAMES_PORT)
    while True:
        query, asker = await datagrams.receive()
        if unit.stages.now == stages.SETUP:
            answer = names.answer(query, OWN_ADDRESS)
            if answer:
                datagrams.send(answer, asker)
