"""The one process of a run that may what its user may not: rooms for radios, and the daemons in them; and the way to it.

What runs in it (all but `client` and `pack`) needs nothing but Python itself and `hil.instruments.network_words`, so that it
can be put where its user cannot change it.
"""
