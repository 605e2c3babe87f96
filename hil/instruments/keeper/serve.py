"""The keeper's own run: takes one request after another from the socket that is its standard input, until that closes.

Started by root for a user (`sudo`), it becomes that user with three rights: CAP_NET_ADMIN to set up radios, links and
addresses, CAP_NET_RAW to hear packets, CAP_SYS_ADMIN to make namespaces and enter them. Its daemons keep the first two.
Theory of operation: a room is a namespace; what runs in rooms dies with this process, and rooms with what runs in them.
"""

import os
import socket
import sys
from collections.abc import Callable, Sequence
from itertools import count

from hil.instruments.keeper import asked
from hil.instruments.keeper.daemons import (
    Daemon,
    start_lease_client,
    start_lease_server,
    start_network,
    start_station,
)
from hil.instruments.keeper.kernel_calls import become
from hil.instruments.keeper.room import Failed, Room
from hil.instruments.keeper.wire import Message, close_all, receive, send

Answer = tuple[Message, list[int]]  # with files, which are closed once they are handed over
NOTHING: Answer = ({}, [])


class Keeper:
    """What it keeps: rooms and daemons, by numbers of its own."""

    def __init__(self) -> None:
        """Begin with none."""
        self._numbers = count(1)
        self._rooms: dict[int, Room] = {}
        self._daemons: dict[int, Daemon] = {}
        self._ways: dict[type, Callable[..., Answer]] = {
            asked.OpenRoom: self._open,
            asked.CloseRoom: self._close,
            asked.MakeSocket: self._socket,
            asked.HearPackets: self._packets,
            asked.SetLink: self._link,
            asked.Flush: self._flush,
            asked.MakeBridge: self._bridge,
            asked.Monitor: self._monitor,
            asked.Impair: self._impair,
            asked.Network: self._network,
            asked.Station: self._station,
            asked.LeaseServer: self._lease_server,
            asked.LeaseClient: self._lease_client,
            asked.EndDaemon: self._end,
        }

    def do(self, message: Message, files: Sequence[int]) -> Answer:
        """Do what is asked for.

        Raises:
            Refused: it cannot be asked for.
            Failed: it was, and did not go.
        """
        request = asked.read(message)
        wanted = 1 if isinstance(request, asked.WITH_LOG) else 0
        if len(files) != wanted:
            raise asked.Refused(f"{len(files)} files came along, {wanted} are wanted")
        return self._ways[type(request)](request, *files)

    def close(self) -> None:
        """End everything."""
        for daemon in self._daemons.values():
            daemon.end()
        for room in self._rooms.values():
            room.close()

    def _room(self, number: int, interface: str | None = None) -> Room:
        room = self._rooms.get(number)
        if room is None:
            raise asked.Refused(f"there is no room {number}")
        if interface is not None:
            room.must_have(interface)
        return room

    def _open(self, request: asked.OpenRoom) -> Answer:
        room = Room()
        try:
            for radio in request.radios:
                room.take(radio)
        except (asked.Refused, Failed):
            room.close()
            raise
        number = next(self._numbers)
        self._rooms[number] = room
        return {"room": number, "path": f"/proc/{os.getpid()}/fd/{room.file}"}, []

    def _close(self, request: asked.CloseRoom) -> Answer:
        room = self._room(request.room)
        for number in [number for number, daemon in self._daemons.items() if daemon.room is room]:
            self._daemons.pop(number).end()
        self._rooms.pop(request.room).close()
        return NOTHING

    def _socket(self, request: asked.MakeSocket) -> Answer:
        return {}, [self._room(request.room).new_socket(request.kind).detach()]

    def _packets(self, request: asked.HearPackets) -> Answer:
        room = self._room(request.room, request.interface)
        return {}, [room.packets(request.interface).detach()]

    def _link(self, request: asked.SetLink) -> Answer:
        room = self._room(request.room, request.interface)
        room.run("ip", "link", "set", request.interface, "up" if request.up else "down")
        return NOTHING

    def _flush(self, request: asked.Flush) -> Answer:
        self._room(request.room, request.interface).run("ip", "address", "flush", "dev", request.interface)
        return NOTHING

    def _bridge(self, request: asked.MakeBridge) -> Answer:
        self._room(request.room).bridge(str(request.address))
        return NOTHING

    def _monitor(self, request: asked.Monitor) -> Answer:
        room = self._room(request.room, request.interface)
        room.run("iw", "dev", request.interface, "set", "type", "monitor")
        room.run("ip", "link", "set", request.interface, "up")
        room.run("iw", "dev", request.interface, "set", "channel", str(request.channel))
        return NOTHING

    def _impair(self, request: asked.Impair) -> Answer:
        self._room(request.room, request.interface).impair(request.interface, request.delay_ms, request.loss)
        return NOTHING

    def _network(self, request: asked.Network, log: int) -> Answer:
        return self._started(start_network(self._room(request.room, request.interface), request, log))

    def _station(self, request: asked.Station, log: int) -> Answer:
        return self._started(start_station(self._room(request.room, request.interface), request, log))

    def _lease_server(self, request: asked.LeaseServer, log: int) -> Answer:
        return self._started(start_lease_server(self._room(request.room, request.interface), request, log))

    def _lease_client(self, request: asked.LeaseClient) -> Answer:
        daemon, told = start_lease_client(self._room(request.room, request.interface), request)
        answer, files = self._started(daemon)
        return answer, [*files, told]

    def _started(self, daemon: Daemon) -> Answer:
        number = next(self._numbers)
        self._daemons[number] = daemon
        return {"daemon": number, "folder": str(daemon.folder)}, [daemon.watched()]

    def _daemon(self, number: int) -> Daemon:
        if number not in self._daemons:
            raise asked.Refused(f"there is no daemon {number}")
        return self._daemons[number]

    def _end(self, request: asked.EndDaemon) -> Answer:
        self._daemon(request.daemon).end()
        del self._daemons[request.daemon]
        return NOTHING


def serve(end: socket.socket) -> None:
    """Answer until the other end closes."""
    keeper = Keeper()
    try:
        while (came := _next(end)) is not None:
            answer(keeper, end, *came)
    except OSError:  # nobody is there any more
        pass
    finally:
        keeper.close()


def _next(end: socket.socket) -> tuple[Message, list[int]] | None:
    while True:
        try:
            return receive(end)
        except ValueError as error:
            send(end, {"refused": str(error)})


def answer(keeper: Keeper, end: socket.socket, message: Message, files: list[int]) -> None:
    """Do what one message asks for, and say how it went."""
    told: Answer = NOTHING
    try:
        told = keeper.do(message, files)
    except asked.Refused as error:
        told = {"refused": str(error)}, []
    except Failed as error:
        told = {"failed": str(error)}, []
    finally:
        close_all(files)
    try:
        send(end, *told)
    finally:
        close_all(told[1])


def main() -> None:
    """Become whom `sudo` was called by, and serve."""
    user, group = os.environ.get("SUDO_UID"), os.environ.get("SUDO_GID")
    if os.getuid() == 0 and user not in (None, "0") and group:
        become(int(user), int(group))
    try:
        end = socket.socket(fileno=os.dup(0))
    except OSError:
        sys.exit("hil-keeper: its standard input is no socket: it is started by hil, not by hand.")
    with end:
        serve(end)


if __name__ == "__main__":
    main()
