"""TCP of a real board: its own sockets. Untested on hardware."""

import asyncio

BACKLOG = 8


async def start(serve, port):
    """Serve a port: `serve(reader, writer)` runs for each connection."""
    return await asyncio.start_server(serve, "0.0.0.0", port, backlog=BACKLOG)


async def dial(host, port):
    """Return reader and writer of a connection; OSError says why there is none."""
    return await asyncio.open_connection(host, port)
