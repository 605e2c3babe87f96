"""Where a request comes from: another site's page must not save in the name of the person who looks at it."""


def is_foreign(request):
    """Tell whether a browser says that another site's page sends this (Origin: RFC 6454; Referer: RFC 9110, 10.1.3).

    What is sent by no page says neither, and is not foreign.
    """
    if request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return True
    here = request.headers.get("host", "")
    for name in ("origin", "referer"):
        if name in request.headers and _host(request.headers[name]) != here:
            return True
    return False


def _host(address):
    """Return the host, with its port, of an address; nothing where it has none, as in `null`."""
    return address.partition("://")[2].partition("/")[0]
