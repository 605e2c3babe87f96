"""How long addresses are given for, and when a client asks to keep its own.

RFC 2131 4.4.5: first at half of the lease (T1), and at 0.875 of it (T2) at the latest; the two may be told otherwise.
"""

from hil.core.product import Bound

USUAL_S = 3600.0
SHORTEST_S = 120.0  # that common DHCP servers give
RENEWS_AT, RENEWS_BY = 0.5, 0.875


def renewal(lease_s: float) -> Bound:
    """By when, after it was given, a client must have asked to keep its address."""
    return Bound(upper=RENEWS_BY * lease_s)
