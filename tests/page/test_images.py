"""Images that a unit must refuse: each differs from the good one by just what its purpose says. The demands are our own."""

from hil.page.images import BAD_IMAGES, DAMAGED, RANDOM, TOO_LARGE, TOO_LARGE_OCTETS, TRUNCATED, bad_images

GOOD = bytes(range(256)) * 300


def test_each_is_bad_in_its_own_way() -> None:
    made = bad_images(GOOD, b"\x5a" * 100)
    assert tuple(made) == BAD_IMAGES
    assert GOOD.startswith(made[TRUNCATED].octets)
    assert len(made[TRUNCATED].octets) == made[TRUNCATED].stated < len(GOOD)
    differing = [at for at, (one, other) in enumerate(zip(GOOD, made[DAMAGED].octets, strict=True)) if one != other]
    assert len(differing) == 1
    assert (GOOD[differing[0]] ^ made[DAMAGED].octets[differing[0]]).bit_count() == 1
    assert differing[0] > len(GOOD) / 2  # late: a unit must have looked through it all
    assert made[RANDOM].octets == b"\x5a" * 100
    assert made[TOO_LARGE].stated == TOO_LARGE_OCTETS > len(GOOD)
    assert GOOD.startswith(made[TOO_LARGE].octets)
