"""SLIP frames (RFC 1055) on a serial line, as the chip's loader speaks them: a frame begins with END as well."""

END, ESCAPE, ESCAPED_END, ESCAPED_ESCAPE = 0xC0, 0xDB, 0xDC, 0xDD


class FrameReader:
    """Takes SLIP frames out of a stream of bytes; what stands outside a frame is dropped."""

    def __init__(self) -> None:
        self._frame: bytearray | None = None
        self._escaped = False

    def feed(self, data: bytes) -> list[bytes]:
        """Return the frames that these bytes complete."""
        done = []
        for byte in data:
            if byte == END:
                # An empty frame is the end of one and the beginning of the next standing side by side.
                if self._frame:
                    done.append(bytes(self._frame))
                    self._frame = None
                else:
                    self._frame = bytearray()
                self._escaped = False
            elif self._frame is not None:
                self._take(self._frame, byte)
        return done

    def _take(self, frame: bytearray, byte: int) -> None:
        if byte == ESCAPE:
            self._escaped = True
        elif self._escaped:
            frame.append({ESCAPED_END: END, ESCAPED_ESCAPE: ESCAPE}.get(byte, byte))
            self._escaped = False
        else:
            frame.append(byte)


def framed(frame: bytes) -> bytes:
    """Return a frame as it goes over the line."""
    escape = bytes([ESCAPE])
    escaped = frame.replace(escape, bytes([ESCAPE, ESCAPED_ESCAPE])).replace(bytes([END]), bytes([ESCAPE, ESCAPED_END]))
    return bytes([END]) + escaped + bytes([END])
