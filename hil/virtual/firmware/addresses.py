"""The unit's address on the network: given by the network, or fixed by hand, and what is wrong with one that is fixed."""

NAMES = ("fixed_address", "netmask", "gateway")
ALL_BITS = 0xFFFFFFFF


def fixed(values):
    """Return address, netmask and gateway, None where the network is to give an address."""
    return tuple(values[name] for name in NAMES) if values["fixed_address"] else None


def complaints(values, labels):
    """Return what is wrong with the three texts; all of them empty are right, too. `labels` say what the page calls them."""
    texts = [values[name] for name in NAMES]
    if not any(texts):
        return []
    numbers = [_number(text) for text in texts]
    wrong = [
        "%s must be four numbers from 0 to 255, as in 192.0.2.7." % labels[NAMES[i]]
        for i in range(3)
        if numbers[i] is None
    ]
    return wrong or _misfits(*numbers)


def _misfits(address, netmask, gateway):
    """Return why three addresses do not go together."""
    hosts = ALL_BITS ^ netmask
    if hosts & (hosts + 1) or hosts < 3:
        return ["Netmask must be a row of ones and then of zeros, with room for a unit and its gateway."]
    if (address ^ gateway) & netmask:
        return ["Gateway must be in the network of the fixed address."]
    if address == gateway:
        return ["Fixed address and gateway must not be the same."]
    if any(one & hosts in (0, hosts) or not 0 < one >> 24 < 224 or one >> 24 == 127 for one in (address, gateway)):
        return ["Fixed address and gateway must be addresses that a unit can have."]
    return []


def _number(text):
    """Return the 32 bits of an address in plain digits, None when it is none."""
    parts = text.split(".")
    if len(parts) != 4 or not all(_is_octet(part) for part in parts):
        return None
    number = 0
    for part in parts:
        number = number << 8 | int(part)
    return number


def _is_octet(text):
    """Tell whether a text is a number from 0 to 255; a leading zero means eight to some and ten to others."""
    if not 0 < len(text) <= 3 or not all(character in "0123456789" for character in text):
        return False
    return int(text) <= 255 and (text == "0" or text[0] != "0")
