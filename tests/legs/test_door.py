"""The door to the form: what is asked for and sent in which order, as the product file says.

That each part of a save follows only on one that was taken, and the restart only on the last, is what a person at the pages
would see to (common practice, no source).
"""

import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import cast

import pytest
from support.fake_bench import fake_bench
from support.records import product_with

from hil.core.product import Product
from hil.instruments.bench import Bench
from hil.instruments.pages import Answer
from hil.instruments.visits import Visitor
from hil.legs import door as door_module
from hil.legs.door import LIST_TRIES, Door, fill_in
from hil.page.fill import FormRequest

HOME = "http://203.0.113.1/"
FIRST = ("unit_name", "opens_at", "closes_at", "reports_to", "report_every_s", "report_key")
OTHER_PAGE = ("network", "network_key", "network_open", "fixed_address", "netmask", "gateway", "update_key")
TWO_PAGES = {"settings": {name: {"page": "/network"} for name in OTHER_PAGE}}


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    """A bench of which only the timeline and the values to type are used."""
    made = fake_bench(tmp_path)
    yield made
    made.timeline.close()


class Site:
    """A unit's pages: answers by path, and by method and path; what was asked for, in order."""

    def __init__(self, **pages: str) -> None:
        self.pages = {"/": "<form action=/save method=post>", "/network": "<form action=/join method=post>"} | pages
        self.statuses: dict[str, int] = {}
        self.asked: list[tuple[str, str, str, object]] = []

    def get(self, url: str, purpose: str, auth: object = None) -> Answer:
        return self.send(FormRequest("GET", url, b"", ""), purpose, auth, {})

    def send(self, request: FormRequest, purpose: str, auth: object, fields: object) -> Answer:
        path = "/" + request.url.removeprefix(HOME)
        self.asked.append((request.method, path, purpose, auth))
        body = self.pages.get(path, "<p>Saved.</p>")
        kind = "application/json" if body.startswith("[") else "text/html; charset=utf-8"
        status, now_s = self.statuses.get(path, 200), time.monotonic()
        return Answer(
            "answered", request.url, request.method, status, (("Content-Type", kind),), body.encode(), 0.0, 0.0, now_s
        )


def form(names: tuple[str, ...], product: Product) -> str:
    """Controls for some settings."""
    settings = {name: product.form.settings[name] for name in names}
    return "".join(
        f'<label>{setting.label or name} <input name="{name}" type="{"checkbox" if name == "network_open" else "text"}"></label>'
        for name, setting in settings.items()
    )


def door_of(bench: Bench, site: Site, product: Product, key: tuple[str, str] | None = None) -> Door:
    return Door(bench, product, cast("Visitor", site), HOME, key, connected=False)


def spread_over_two(bench: Bench, **saved: object) -> tuple[Site, Door, FormRequest]:
    """A form of two pages, filled in."""
    product = product_with({"form": {**TWO_PAGES, "saved": saved}})
    site = Site()
    site.pages["/"] += form(FIRST, product)
    site.pages["/network"] += form(OTHER_PAGE, product)
    door = door_of(bench, site, product, ("vent", "key"))
    request = fill_in(door.bench, product, door.look("form to fill"), door.bench.trial.values)
    assert request is not None
    return site, door, request


def posted(site: Site) -> list[tuple[str, str]]:
    return [(path, purpose) for method, path, purpose, _ in site.asked if method == "POST"]


def test_a_look_asks_for_every_page(bench: Bench) -> None:
    site, _, _ = spread_over_two(bench)
    assert site.asked == [
        ("GET", "/", "form to fill", ("vent", "key")),
        ("GET", "/network", "form to fill at /network", ("vent", "key")),
    ]


def test_forms_are_sent_one_after_the_other_each_opened_anew(bench: Bench) -> None:
    site, door, request = spread_over_two(bench)
    site.asked.clear()
    assert door.send(request, "save").url == HOME + "join"
    assert [(method, path, purpose) for method, path, purpose, _ in site.asked] == [
        ("POST", "/save", "save"),
        ("GET", "/", "next form of the save"),
        ("GET", "/network", "next form of the save at /network"),
        ("POST", "/join", "save"),
    ]


def test_the_restart_is_asked_for_when_all_is_saved(bench: Bench) -> None:
    site, door, request = spread_over_two(bench, then="request", path="/go")
    assert door.send(request, "save").url == HOME + "join"
    assert posted(site) == [("/save", "save"), ("/join", "save"), ("/go", "restart after the save")]


@pytest.mark.parametrize(("refused", "sent"), [("/save", ["/save"]), ("/join", ["/save", "/join"])])
def test_after_a_refusal_nothing_more_is_sent(bench: Bench, refused: str, sent: list[str]) -> None:
    site, door, request = spread_over_two(bench, then="request", path="/go")
    site.statuses[refused] = 400
    assert door.send(request, "save").status == 400
    assert [path for path, _ in posted(site)] == sent


def test_a_next_form_that_is_gone_ends_the_leg(bench: Bench) -> None:
    site, door, request = spread_over_two(bench)
    site.pages["/network"] = "<p>Not now.</p>"
    door.send(request, "save")
    (left,) = [m for m in door.bench.timeline.since() if m.kind == "gave up"]
    assert left.text("why").startswith("the next form cannot be filled in: ")


def test_without_the_key_no_part_bears_it(bench: Bench) -> None:
    site, door, request = spread_over_two(bench)
    site.asked.clear()
    door.send(request, "save without the key", with_key=False)
    assert {auth for method, _, _, auth in site.asked if method == "POST"} == {None}


class TestList:
    """A list of networks that a script fills later."""

    @pytest.fixture(autouse=True)
    def _at_once(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(door_module, "LIST_PAUSE_S", 0.0)

    def looks(self, bench: Bench, answers: list[str]) -> int:
        """How often the list is asked for."""
        product = product_with({"form": {"settings": {"network": {"listed_at": "/scan"}}}})

        class Scans(Site):
            def send(self, request: FormRequest, purpose: str, auth: object, fields: object) -> Answer:
                self.pages["/scan"] = answers[
                    min(sum(path == "/scan" for _, path, _, _ in self.asked), len(answers) - 1)
                ]
                return super().send(request, purpose, auth, fields)

        site = Scans()
        door_of(bench, site, product).look("form")
        return [path for _, path, _, _ in site.asked].count("/scan")

    def test_it_is_asked_for_until_it_is_there(self, bench: Bench) -> None:
        assert self.looks(bench, ["[]", "[]", json.dumps(["Here"])]) == 3

    def test_not_for_ever(self, bench: Bench) -> None:
        assert self.looks(bench, ["[]"]) == 1 + LIST_TRIES

    def test_once_where_it_is_no_list(self, bench: Bench) -> None:
        assert self.looks(bench, ["<h1>404</h1>"]) == 1
