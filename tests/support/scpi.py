"""A supply that speaks SCPI, at a TCP port of this machine."""

import asyncio
import threading
from collections.abc import Coroutine
from typing import TypeVar

from hil.virtual.lab.supply import ScpiSupply

LIMIT_S = 10.0
Result = TypeVar("Result")


class Supply:
    """One output at a TCP port, served by a thread of this test; `stuck` ones do not switch, `mute` ones do not answer."""

    def __init__(self) -> None:
        self.on, self.stuck, self.mute = False, False, False
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever)
        self._thread.start()
        self.output = ScpiSupply(self._switch, lambda: (self.on, 85.0 if self.on else 0.0))
        self._server = self._run(asyncio.start_server(self._serve, "127.0.0.1", 0))
        self.port = f"socket://127.0.0.1:{self._server.sockets[0].getsockname()[1]}"

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if self.mute:
            await reader.read()
            writer.close()
            return
        await self.output.serve(reader, writer)

    def _switch(self, on: bool) -> None:
        self.on = self.on if self.stuck else on

    def _run(self, what: Coroutine[object, object, Result]) -> Result:
        return asyncio.run_coroutine_threadsafe(what, self._loop).result(LIMIT_S)

    def unplug(self) -> None:
        async def drop() -> None:
            self.output.close()

        self._run(drop())

    def close(self) -> None:
        async def close() -> None:
            self._server.close()
            self.output.close()

        self._run(close())
        self._run(asyncio.sleep(0.05))
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(LIMIT_S)
        self._loop.close()
