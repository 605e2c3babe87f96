"""TCP of a virtual unit: services and connections, carried by the board."""

import asyncio
import os

import link

DIAL_LIMIT_S = 20.0
PORT_TRIES = 20
BACKLOG = 16


async def start(serve, port):
    """Serve a port: `serve(reader, writer)` runs for each connection.

    The interpreter cannot say which free port the system chose, so one is chosen here.
    """
    for _ in range(PORT_TRIES):
        seed = os.urandom(2)
        local = 20000 + (seed[0] * 256 + seed[1]) % 12000
        try:
            server = await asyncio.start_server(serve, "127.0.0.1", local, backlog=BACKLOG)
        except OSError:
            continue
        link.tell(op="listen", port=port, local=local)
        return server
    raise OSError("no free port")


async def dial(host, port):
    """Return reader and writer of a connection; OSError says why there is none."""
    answer = await link.ask_later(DIAL_LIMIT_S, op="dial", host=host, port=port)
    return await asyncio.open_connection("127.0.0.1", answer["local"])
