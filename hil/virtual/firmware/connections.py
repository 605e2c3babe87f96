"""Ending a connection, whatever state it is in."""


async def close(writer):
    """Close a connection and give its socket back."""
    try:
        writer.close()
        await writer.wait_closed()
    except OSError:
        pass  # it was closed from the other side
