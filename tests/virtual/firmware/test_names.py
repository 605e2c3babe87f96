"""The unit's answers to questions for names, held against dnspython: RFC 1035's octets as another library reads them."""

import json
from collections.abc import Callable
from typing import TYPE_CHECKING

import dns.flags
import dns.message
import dns.rcode
import dns.rdatatype
import pytest

if TYPE_CHECKING:
    from conftest import Board

OWN = "203.0.113.1"
ANSWER = """
import binascii, json, names
queries = json.loads('%s')
answers = [names.answer(binascii.unhexlify(query), bytes((203, 0, 113, 1))) for query in queries]
print(json.dumps([binascii.hexlify(answer).decode() for answer in answers]))
"""
Run = Callable[[str], object]


@pytest.fixture
def answer(run_program: Run) -> Callable[[list[bytes]], list[bytes]]:
    """What the unit's own code, under either interpreter, says to queries."""

    def ask(queries: list[bytes]) -> list[bytes]:
        said = run_program(ANSWER % json.dumps([query.hex() for query in queries]))
        assert isinstance(said, list)
        return [bytes.fromhex(octets) for octets in said]

    return ask


Ask = Callable[[list[bytes]], list[bytes]]
LONGEST = ".".join(["a" * 63, "b" * 63, "c" * 63, "d" * 61])  # 255 octets with lengths and root: RFC 1035, 2.3.4


def test_every_name_has_the_unit_s_address(answer: Ask) -> None:
    names = ["captive.example.com", "cApTiVe.ExAmPlE.com", "com", "xn--bcher-kva.example", LONGEST]
    queries = [dns.message.make_query(name, "A") for name in names]
    for query, octets in zip(queries, answer([query.to_wire() for query in queries]), strict=True):
        said = dns.message.from_wire(octets)
        assert query.is_response(said)
        assert said.rcode() == dns.rcode.NOERROR
        assert said.flags & dns.flags.RD == query.flags & dns.flags.RD
        (found,) = said.answer
        assert found.name == query.question[0].name
        assert [record.address for record in found] == [OWN]


@pytest.mark.parametrize("kind", ["AAAA", "HTTPS", "TXT", "PTR", "ANY"])
def test_other_questions_are_answered_with_nothing(answer: Ask, kind: str) -> None:
    query = dns.message.make_query("captive.example.com", kind)
    (octets,) = answer([query.to_wire()])
    said = dns.message.from_wire(octets)
    assert query.is_response(said)
    assert (said.rcode(), said.answer) == (dns.rcode.NOERROR, [])


def test_a_query_with_an_extension_is_answered_without(answer: Ask) -> None:
    """RFC 6891, 6.2.6 and 7: a responder that knows no extensions leaves the OPT record out."""
    query = dns.message.make_query("captive.example.com", "A", use_edns=0, payload=1232)
    (octets,) = answer([query.to_wire()])
    said = dns.message.from_wire(octets)
    assert query.is_response(said)
    assert (said.edns, len(said.answer)) == (-1, 1)


GOOD = dns.message.make_query("captive.example.com", "A", id=7).to_wire()
BROKEN = {
    "nothing": b"",
    "half a head": GOOD[:11],
    "a head alone": GOOD[:12],
    "half a name": GOOD[:20],
    "no kind": GOOD[:-3],
    "an answer": GOOD[:2] + b"\x81\x80" + GOOD[4:],
    "another operation": GOOD[:2] + b"\x28\x00" + GOOD[4:],
    "no question": GOOD[:4] + b"\0\0" + GOOD[6:],
    "65535 questions": GOOD[:4] + b"\xff\xff" + GOOD[6:],
    "a name that points to itself": GOOD[:12] + b"\xc0\x0c\x00\x01\x00\x01",
    "a label beyond the end": GOOD[:12] + b"\x3fabc",
    "a name without end": GOOD[:12] + b"\x3f" * 500,
    "all ones": b"\xff" * 512,
}


def test_what_is_no_query_is_not_answered(answer: Ask) -> None:
    assert answer(list(BROKEN.values())) == [b""] * len(BROKEN)


def test_no_octets_break_it(answer: Ask) -> None:
    """A good query cut short anywhere, and one with each octet spoiled in turn: answered or not, nothing is raised."""
    cut = [GOOD[:length] for length in range(len(GOOD))]
    spoiled = [GOOD[:at] + bytes((GOOD[at] ^ 0xFF,)) + GOOD[at + 1 :] for at in range(len(GOOD))]
    said = answer([*cut, *spoiled])
    assert said[: len(cut)] == [b""] * len(cut)
    for octets in filter(None, said):
        assert dns.message.from_wire(octets).flags & dns.flags.QR


def test_names_are_answered_on_the_hotspot(board: "Board") -> None:
    board.power_on()
    board.wait_for_line("stage: setup")
    assert board.wait_for_order("bind")["port"] == 53
    query = dns.message.make_query("captive.example.com", "A")
    board.send_event(datagram="00" * 5, port=53, **{"from": "203.0.113.9", "from_port": 49152})
    board.send_event(datagram=query.to_wire().hex(), port=53, **{"from": "203.0.113.9", "from_port": 49153})
    sent = board.wait_for_order("send")
    assert (sent["port"], sent["to"], sent["to_port"]) == (53, "203.0.113.9", 49153)
    said = dns.message.from_wire(bytes.fromhex(str(sent["data"])))
    assert query.is_response(said)
    assert [record.address for record in said.answer[0]] == [OWN]


def test_names_are_not_answered_in_the_owner_s_network(board: "Board") -> None:
    """Only the hotspot leads nowhere else: in a network of others the unit says nothing of names."""
    board.power_on()
    board.wait_for_line("stage: setup")
    fields = {"network": "orchard", "network_key": "leaf and stem"}
    assert board.post("/save", fields).status_code == 200
    board.power_off()
    board.networks["orchard"] = "leaf and stem"
    board.power_on()
    board.wait_for_line("stage: connected")
    board.wait_for_order("bind")
    query = dns.message.make_query("captive.example.com", "A").to_wire().hex()
    board.send_event(datagram=query, port=53, **{"from": "192.0.2.9", "from_port": 49153})
    board.status()  # the unit has gone on since
    assert board.ordered("send") == []
