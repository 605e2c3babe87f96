"""Setup pages that differ, over real HTTP: read as a whole, filled in, sent, and held by the unit as it was typed.

Held against what the unit's own store then holds, read from its flash as the firmware's `settings.py` lays it out. What
follows a save, and the bench's part, is for live runs (`tests/whole/test_form_variants.py`).
"""

import binascii
import json
import struct
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import requests
from support import form_variants

from hil.core.product import Product, load_product
from hil.core.trial import Trial, draw
from hil.page.fill import FormRequest
from hil.page.fill_settings import fill_settings, open_next
from hil.page.page import NotFound, Page, shown_by
from hil.page.read import read_page
from hil.page.whole_form import rule_of, whole_form

if TYPE_CHECKING:
    from tests.virtual.firmware.conftest import Board

PATIENCE_S = 20.0
SECTORS = (0x90000, 0x91000)
HEAD = "<4sIII"


class Visitor:
    """Reads and sends the form of a board in setup, as a product file says."""

    def __init__(self, board: "Board", product: Product) -> None:
        self.home = f"http://127.0.0.1:{board.web_port()}"
        self.form = product.form
        self.auth = (product.form.user, board.label_key) if product.form.user else None

    def look(self) -> Page:
        return whole_form(self.form, self._read(self.form.path), {path: self._read(path) for path in self.form.beside})

    def _read(self, path: str) -> Page:
        answer = requests.get(self.home + path, auth=self.auth, timeout=PATIENCE_S)
        return read_page(answer.content, answer.headers["Content-Type"], answer.url)

    def send(self, request: FormRequest) -> requests.Response:
        headers = {"Content-Type": request.content_type} if request.content_type else {}
        return requests.request(
            request.method, request.url, data=request.body, headers=headers, auth=self.auth, timeout=PATIENCE_S
        )


def stored(flash: bytes) -> dict[str, object]:
    """The newest whole record of settings in a flash."""
    found: list[tuple[int, dict[str, object]]] = []
    for at in SECTORS:
        magic, sequence, length, crc = struct.unpack_from(HEAD, flash, at)
        payload = flash[at + struct.calcsize(HEAD) :][:length]
        if magic == b"MVSR" and binascii.crc32(struct.pack("<II", sequence, length) + payload) == crc:
            found.append((sequence, json.loads(payload)))
    return max(found, key=lambda record: record[0])[1]


def started(board: "Board", name: str, folder: Path) -> tuple[Visitor, Trial]:
    """A board in setup with a variant's firmware, and how to use its form."""
    product_file, _ = form_variants.write(name, folder)
    app = folder / "app"
    app.mkdir()
    for file, text in form_variants.made(name).files.items():
        (app / file).write_text(text, encoding="utf-8")
    product = load_product(product_file)
    trial = draw(product)
    board.in_the_air = [trial.network]
    board.power_on(app)
    board.wait_for_order("host")
    return Visitor(board, product), trial


@pytest.mark.parametrize("name", form_variants.names(bad=False))
def test_what_is_typed_is_held(micropython_board: "Board", name: str, tmp_path: Path) -> None:
    visitor, trial = started(micropython_board, name, tmp_path)
    form = visitor.form
    page = visitor.look()
    shown = {
        n: c for n, s in form.settings.items() for c in page.controls() if rule_of(s).names(c) and c.kind != "hidden"
    }
    assert shown.keys() == form.settings.keys()
    defaults = {n: s.default for n, s in form.settings.items() if s.default is not None}
    assert {n: shown_by(shown[n]) for n in defaults} == defaults
    while not any(trial.network in str(c.options) for c in page.controls()) and form.beside == ("/scan",):
        page = visitor.look()
    request = fill_settings(form, page, trial.values)
    assert isinstance(request, FormRequest), request
    assert visitor.send(request).ok
    for onward in request.then:
        opened = open_next(visitor.look(), onward)
        assert not isinstance(opened, NotFound), opened
        assert visitor.send(opened).ok
    held = stored(bytes(micropython_board.flash))
    typed = {n: float(v) if form.settings[n].kind == "number" else v for n, v in trial.values.items()}
    assert {n: held[n] for n in typed} == typed


@pytest.mark.parametrize("name", form_variants.names(bad=True))
def test_a_bad_sibling_still_fits_the_firmware(name: str) -> None:
    sibling = form_variants.load(name)
    assert sibling.expect
    assert form_variants.made(name).files != form_variants.made(sibling.of).files
