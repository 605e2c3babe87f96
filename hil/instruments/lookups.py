"""Questions for names as octets, and what an answer says: written and read by scapy (RFC 1035).

An answer counts only where it bears the question's own number and text: whoever asked drops any other (RFC 5452, 9.1).
"""

import struct
from dataclasses import dataclass

from scapy.error import Scapy_Exception
from scapy.layers.dns import DNS, DNSQR, DNSRR, dnsqtypes

from hil.core.moments import Json

NAMES_PORT = 53  # RFC 1035, 4.2.1
NUMBERS = 1 << 16
UNREADABLE = (struct.error, Scapy_Exception, IndexError, ValueError, TypeError, AttributeError)  # what scapy raises
_ADDRESS = 1


@dataclass(frozen=True, slots=True)
class Question:
    """A question for a name: its number, the name, and what kind of record is asked for (`A`, `AAAA`, `HTTPS`...)."""

    number: int
    name: str
    kind: str

    def octets(self) -> bytes:
        """As it is sent, by one who wants recursion, as a phone does.

        Raises:
            KeyError: there is no such kind of record.
        """
        number = next((value for value, name in dnsqtypes.items() if name == self.kind), None)
        if number is None:
            raise KeyError(f"no such kind of record: {self.kind!r}")
        return bytes(DNS(id=self.number, rd=1, qd=[DNSQR(qname=self.name, qtype=number)]))


def read_answer(question: Question, octets: bytes) -> dict[str, Json]:
    """What an answer says.

    Returns:
        `matches` (it is an answer, to this very question), `status` (0: no error) and `addresses` where it can be read;
        else why it cannot, as `trouble`.
    """
    try:
        said = DNS(octets)
        found = [record for record in said.an or [] if isinstance(record, DNSRR) and record.type == _ADDRESS]
        return {
            "matches": said.qr == 1 and said.id == question.number and _asks_the_same(said, question),
            "status": int(said.rcode),
            "answers": int(said.ancount or 0),
            "addresses": [str(record.rdata) for record in found],
        }
    except UNREADABLE as error:
        return {"trouble": f"an answer that cannot be read: {error}"}


def _asks_the_same(said: DNS, question: Question) -> bool:
    """Whether the answer repeats the question, octet by octet."""
    asked = DNS(question.octets())
    return len(said.qd) == 1 and bytes(said.qd[0]) == bytes(asked.qd[0])
