"""Updates by their purposes; images that a unit must refuse, made from a good one; attempts without the right to send any."""

from collections.abc import Mapping
from dataclasses import dataclass

UPDATE, ONWARD = "update", "onward update"
WITHOUT_KEY, WITH_WRONG_KEY = "update without the key", "update with a wrong key"
KEY_ATTEMPTS = (WITHOUT_KEY, WITH_WRONG_KEY)
TRUNCATED, DAMAGED, RANDOM, TOO_LARGE = (
    "truncated image",
    "image with one bit changed",
    "random octets",
    "image that does not fit",
)
BAD_IMAGES = (TRUNCATED, DAMAGED, RANDOM, TOO_LARGE)
RANDOM_OCTETS = 12_000
TOO_LARGE_OCTETS = 64 << 20  # more than any such board's flash; no source
BEGUN_OCTETS = 12_288  # of it that are sent: a unit knows from the head of the request that it does not fit


@dataclass(frozen=True, slots=True)
class BadImage:
    """What is sent, and the length that the request states."""

    octets: bytes
    stated: int


def bad_images(good: bytes, random: bytes) -> Mapping[str, BadImage]:
    """Images that no unit may take, by purpose: cut off in a whole request, with one bit changed late, random, too large."""
    cut = good[: len(good) * 3 // 5]
    changed = bytearray(good)
    changed[len(good) * 9 // 10] ^= 0x10
    return {
        TRUNCATED: BadImage(cut, len(cut)),
        DAMAGED: BadImage(bytes(changed), len(changed)),
        RANDOM: BadImage(random, len(random)),
        TOO_LARGE: BadImage(good[:BEGUN_OCTETS], TOO_LARGE_OCTETS),
    }
