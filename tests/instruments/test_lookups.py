"""Questions for names and their answers, held against dnspython's RFC 1035."""

import dns.message
import dns.rcode
import dns.rdatatype
import dns.rrset
import pytest

from hil.instruments.lookups import Question, read_answer

QUESTION = Question(4711, "captive.example.com", "A")


def answer_to(octets: bytes, *addresses: str, rcode: dns.rcode.Rcode = dns.rcode.NOERROR) -> bytes:
    said = dns.message.make_response(dns.message.from_wire(octets))
    said.set_rcode(rcode)
    if addresses:
        name = dns.message.from_wire(octets).question[0].name
        said.answer.append(dns.rrset.from_text(name, 10, "IN", "A", *addresses))
    return said.to_wire()


@pytest.mark.parametrize("kind", ["A", "AAAA", "HTTPS", "TXT"])
def test_a_question_is_read_as_asked(kind: str) -> None:
    asked = dns.message.from_wire(Question(4711, "captive.example.com", kind).octets())
    (question,) = asked.question
    assert (asked.id, question.name.to_text(), dns.rdatatype.to_text(question.rdtype)) == (
        4711,
        "captive.example.com.",
        kind,
    )
    assert asked.opcode() == 0
    assert asked.flags == dns.flags.RD


def test_an_unknown_kind_is_refused() -> None:
    with pytest.raises(KeyError, match="POSTCODE"):
        Question(1, "example.com", "POSTCODE").octets()


@pytest.mark.parametrize("addresses", [[], ["203.0.113.1"], ["203.0.113.1", "198.51.100.7"]])
def test_an_answer_tells_its_addresses(addresses: list[str]) -> None:
    said = read_answer(QUESTION, answer_to(QUESTION.octets(), *addresses))
    told = said["addresses"]
    assert isinstance(told, list)
    assert (said["matches"], said["status"], said["answers"]) == (True, 0, len(addresses))
    assert sorted(map(str, told)) == sorted(addresses)  # the library sends them in any order


def test_an_error_is_told() -> None:
    said = read_answer(QUESTION, answer_to(QUESTION.octets(), rcode=dns.rcode.REFUSED))
    assert (said["matches"], said["status"], said["addresses"]) == (True, 5, [])


@pytest.mark.parametrize(
    "other",
    [
        Question(4712, QUESTION.name, "A"),
        Question(4711, "captive.example.net", "A"),
        Question(4711, QUESTION.name, "AAAA"),
    ],
)
def test_an_answer_to_another_question_does_not_match(other: Question) -> None:
    assert read_answer(QUESTION, answer_to(other.octets(), "203.0.113.1"))["matches"] is False


def test_the_question_itself_is_no_answer() -> None:
    assert read_answer(QUESTION, QUESTION.octets())["matches"] is False


def test_no_octets_break_the_reading() -> None:
    """A good answer cut short anywhere, and one with each octet spoiled in turn: told of, never taken for the good one."""
    good = answer_to(QUESTION.octets(), "203.0.113.1")
    spoiled = [good[:at] + bytes((good[at] ^ 0xFF,)) + good[at + 1 :] for at in range(len(good))]
    for octets in [b"", *(good[:length] for length in range(1, len(good))), *spoiled]:
        said = read_answer(QUESTION, octets)
        assert "trouble" in said or isinstance(said["addresses"], list)
    assert all(read_answer(QUESTION, good[:length]).get("matches") is not True for length in range(12))
