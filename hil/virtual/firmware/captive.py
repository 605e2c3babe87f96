"""Leads whoever has strayed on the hotspot to the form.

Phones and computers ask for well-known pages to learn whether a network leads anywhere; a redirect makes
them show the form to their owner.
"""

import unit as units
from web import Reply

HOME = "http://%s/" % units.HOTSPOT_ADDRESS


def lead_home():
    """Return the reply that leads to the form."""
    return Reply(302, "The settings are at %s\n" % HOME, (("Location", HOME),))
