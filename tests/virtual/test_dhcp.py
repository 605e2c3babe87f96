"""DHCP messages and leases, held against scapy's reading and RFC 2131 (order, fields) and RFC 2132 (options)."""

import random

import pytest
from scapy.layers.dhcp import BOOTP, DHCP

from hil.virtual.air.dhcp import Lease, LeaseClient, LeaseServer, Message, Type, parse

HARDWARE = bytes.fromhex("02a0b0c0d0e2")
TYPE_NAMES = {1: "discover", 2: "offer", 3: "request", 5: "ack", 6: "nak"}
"""RFC 2132 9.6."""


def options_by_scapy(payload: bytes) -> dict[str, object]:
    return {option[0]: option[1] for option in BOOTP(payload)[DHCP].options if isinstance(option, tuple)}


def exchange(client: LeaseClient, server: LeaseServer) -> tuple[list[bytes], Lease]:
    """Play the messages in order until the client has its lease."""
    messages = [client.ask(0.0)]
    while True:
        asked = parse(messages[-1])
        assert asked is not None
        answer = server.answer(asked)
        assert answer is not None
        messages.append(answer.pack())
        got = client.receive(messages[-1])
        if isinstance(got, Lease):
            return messages, got
        assert got is not None
        messages.append(got)


def test_a_lease_takes_discover_offer_request_ack() -> None:
    """RFC 2131 3.1, figure 3; fields of tables 3 and 5."""
    messages, lease = exchange(LeaseClient(HARDWARE, random.Random(1)), LeaseServer("192.0.2.1", 3600))
    read = [BOOTP(message) for message in messages]
    assert [TYPE_NAMES[int(str(options_by_scapy(m)["message-type"]))] for m in messages] == [
        "discover", "offer", "request", "ack"
    ]  # fmt: skip
    assert [packet.op for packet in read] == [1, 2, 1, 2]
    assert len({packet.xid for packet in read}) == 1
    assert {bytes(packet.chaddr)[:6] for packet in read} == {HARDWARE}
    assert [packet.yiaddr for packet in read] == ["0.0.0.0", "192.0.2.2", "0.0.0.0", "192.0.2.2"]
    assert [packet.ciaddr for packet in read] == ["0.0.0.0"] * 4
    request, ack = options_by_scapy(messages[2]), options_by_scapy(messages[3])
    assert (request["requested_addr"], request["server_id"]) == ("192.0.2.2", "192.0.2.1")
    told = (ack["server_id"], ack["lease_time"], ack["subnet_mask"], ack["router"])
    assert told == ("192.0.2.1", 3600, "255.255.255.0", "192.0.2.1")
    assert lease == Lease("192.0.2.2", "255.255.255.0", "192.0.2.1", "192.0.2.1", "192.0.2.1", 3600)


def test_messages_have_the_least_length_of_bootp() -> None:
    """300 octets: RFC 1542 2.1."""
    messages, _ = exchange(LeaseClient(HARDWARE, random.Random(1)), LeaseServer("192.0.2.1", 3600))
    assert [len(message) >= 300 for message in messages] == [True] * 4


def test_a_renewal_names_the_clients_address_and_no_server() -> None:
    """RFC 2131 4.3.2 and table 4, renewing: ciaddr set, neither server identifier nor requested address."""
    client, server = LeaseClient(HARDWARE, random.Random(1)), LeaseServer("192.0.2.1", 3600)
    _, lease = exchange(client, server)
    renewal = client.renew(lease)
    assert BOOTP(renewal).ciaddr == "192.0.2.2"
    assert {"server_id", "requested_addr"} & options_by_scapy(renewal).keys() == set()
    asked = parse(renewal)
    assert asked is not None
    answer = server.answer(asked)
    assert answer is not None
    assert client.receive(answer.pack()) == lease


def test_a_request_the_server_cannot_keep_is_answered_nak_and_the_client_begins_anew() -> None:
    """RFC 2131 3.2 (4) and 3.1 (5)."""
    client, server = LeaseClient(HARDWARE, random.Random(1)), LeaseServer("192.0.2.1", 3600)
    asked = parse(client.renew(Lease("198.51.100.7", "255.255.255.0", "198.51.100.1", "", "198.51.100.1", 60)))
    assert asked is not None
    answer = server.answer(asked)
    assert answer is not None
    assert options_by_scapy(answer.pack())["message-type"] == 6
    assert client.receive(answer.pack()) is None
    assert options_by_scapy(client.ask(9.0))["message-type"] == 1


def test_a_request_to_another_server_is_left_alone() -> None:
    """RFC 2131 3.1 (4): servers not chosen take it as a refusal."""
    client = LeaseClient(HARDWARE, random.Random(1))
    discover = parse(client.ask(0.0))
    assert discover is not None
    offer = LeaseServer("192.0.2.1", 3600).answer(discover)
    assert offer is not None
    request = client.receive(offer.pack())
    assert isinstance(request, bytes)
    asked = parse(request)
    assert asked is not None
    assert LeaseServer("203.0.113.1", 3600).answer(asked) is None


def test_another_clients_answer_is_not_taken() -> None:
    server, client = LeaseServer("192.0.2.1", 3600), LeaseClient(HARDWARE, random.Random(1))
    client.ask(0.0)
    other = parse(LeaseClient(HARDWARE[:5] + b"\x07", random.Random(2)).ask(0.0))
    assert other is not None
    offer = server.answer(other)
    assert offer is not None
    assert client.receive(offer.pack()) is None


def test_every_client_gets_its_own_address_and_the_same_one_again() -> None:
    server = LeaseServer("192.0.2.1", 3600)
    clients = [bytes.fromhex(f"02a0b0c0d0{number:02x}") for number in range(20)]
    first = [exchange(LeaseClient(hardware, random.Random(1)), server)[1].ip for hardware in clients]
    again = [exchange(LeaseClient(hardware, random.Random(2)), server)[1].ip for hardware in clients]
    assert len(set(first)) == 20
    assert "192.0.2.1" not in first
    assert again == first


def test_an_empty_pool_says_nothing() -> None:
    """Hosts 2 to 199 of a /24: those above are for addresses set by hand."""
    server = LeaseServer("192.0.2.1", 3600)
    offers = [
        server.answer(Message(Type.DISCOVER, 1, bytes.fromhex(f"02a0b0c0d0{number:02x}"))) for number in range(254)
    ]
    assert [offer is None for offer in offers] == [False] * 198 + [True] * 56


@pytest.mark.parametrize("spoilt", [b"", bytes(300), bytes(236) + bytes.fromhex("63825363") + b"\xff"])
def test_what_is_no_dhcp_message_is_not_read(spoilt: bytes) -> None:
    assert parse(spoilt) is None


def test_a_message_cut_anywhere_is_read_without_an_error() -> None:
    whole = LeaseClient(HARDWARE, random.Random(1)).ask(0.0)
    assert {parse(whole[:length]) is None for length in range(len(whole))} == {True, False}


def test_a_server_that_refuses_makes_an_offer_and_a_nak_of_each_request() -> None:
    """RFC 2131 3.1, step 4: a server that cannot satisfy the request answers with a nak; 3.1.5: the client begins anew."""
    server, client = LeaseServer("192.0.2.1", 3600, refuses=True), LeaseClient(HARDWARE, random.Random(1))
    answers = []
    asked: bytes | None = client.ask(0.0)
    while asked is not None:
        message = parse(asked)
        assert message is not None
        answer = server.answer(message)
        assert answer is not None
        answers.append(answer.pack())
        following = client.receive(answers[-1])
        assert not isinstance(following, Lease)
        asked = following
    assert [TYPE_NAMES[int(str(options_by_scapy(m)["message-type"]))] for m in answers] == ["offer", "nak"]
    again = parse(client.ask(4.0))
    assert again is not None
    assert again.type is Type.DISCOVER


def test_a_server_may_tell_no_name_server() -> None:
    """RFC 2132, 3.8: the option is left out, and a client that is told none has none."""
    messages, lease = exchange(
        LeaseClient(HARDWARE, random.Random(1)), LeaseServer("192.0.2.1", 60, tells_name_server=False)
    )
    assert "name_server" not in options_by_scapy(messages[3])
    assert isinstance(lease, Lease)
    assert (lease.router, lease.name_server) == ("192.0.2.1", "")


def test_of_several_routers_and_name_servers_the_first_counts() -> None:
    """RFC 2132, 3.5 and 3.8: addresses in order of preference, their octets a multiple of four."""
    message = Message(Type.ACK, 1, HARDWARE, options={3: bytes((192, 0, 2, 1, 192, 0, 2, 9)), 6: bytes(3)})
    assert (message.first_ip(3), message.first_ip(6), message.first_ip(1)) == ("192.0.2.1", "", "")
