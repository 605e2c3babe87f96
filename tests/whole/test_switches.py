"""How often a person who switches the supply is asked is told beforehand: what legs declare, held against a recorded run."""

import json
from pathlib import Path

from hil.legs.leg import DECLARED, PARAMETRISED


def test_each_leg_switches_the_supply_as_often_as_it_declares(good_run: Path) -> None:
    """A leg that begins anywhere may find the unit without supply: then its first switch is not needed."""
    moments = [json.loads(line) for line in (good_run / "timeline.jsonl").read_text(encoding="utf-8").splitlines()]
    legs, is_on, driven = {**DECLARED, **PARAMETRISED}, True, 0
    name, seen = "", 0
    for moment in moments:
        if moment["source"] == "leg" and moment["kind"] == "begins":
            name, seen = moment["name"].partition("[")[0], 0
        elif moment["source"] == "power" and moment["kind"] in ("on", "off") and moment["asked_by"] == "leg":
            seen += (moment["kind"] == "on") != is_on
            is_on = moment["kind"] == "on"
        elif moment["source"] == "leg" and moment["kind"] == "ends":
            leg = legs[name]
            allowed = {leg.switches, leg.switches - 1} if leg.begins.stage == "anywhere" else {leg.switches}
            assert seen in allowed, (name, seen, leg.switches)
            driven += 1
    assert driven > 20
