"""Pages found by links and common paths, on sites made up here; the fetching is a table."""

from hil.core.form_promise import Setting
from hil.drive.draft.explore import FORM_PATHS, STATUS_PATHS, find_form, has_settings, status_page, walk
from hil.instruments.pages import Answer

HOST = "198.51.100.2"
FORM = '<form><input name="ssid"><input name="psk" type="password"><button>Save</button></form>'


class Site:
    """Answers by path; keeps what was asked."""

    def __init__(self, **pages: str | int) -> None:
        self.pages = {"/" if name == "home" else f"/{name}": page for name, page in pages.items()}
        self.asked: list[str] = []

    def __call__(self, url: str) -> Answer:
        path = url.removeprefix(f"http://{HOST}")
        self.asked.append(path)
        page = self.pages.get(path, 404)
        status, body = (page, "") if isinstance(page, int) else (200, page)
        return Answer("answered", url, "GET", status, (("Content-Type", "text/html"),), body.encode(), 0.1, 0.1, 0.0)


def test_links_are_followed_and_common_paths_tried() -> None:
    site = Site(home='<a href="now">Now</a><a href="/conf?tab=1#x">Settings</a>', now="<p>now</p>", conf=401)
    found = {f.path: f.status for f in walk(site, HOST, ("/", *STATUS_PATHS))}
    assert found["/now"] == 200
    assert found["/conf"] == 401
    assert set(STATUS_PATHS) <= set(found)
    assert len(site.asked) == len(set(site.asked))


def test_links_that_act_and_links_elsewhere_are_let_be() -> None:
    home = "".join(
        f'<a href="{href}">{text}</a>'
        for href, text in (
            ("/restart", "Go"),
            ("/x", "Factory reset"),
            ("/y", "Log out, or logout"),
            ("http://192.0.2.1/z", "Elsewhere"),
            ("https://198.51.100.2/s", "Other scheme"),
            ("http://198.51.100.2:8080/p", "Other port"),
            ("/good", "Good"),
        )
    )
    site = Site(home=home + '<img src="/i.png"><script src="/s.js"></script>', good="<p>good</p>")
    list(walk(site, HOST, ("/",)))
    assert site.asked == ["/", "/good"]


def test_a_site_without_end_is_left_after_some_pages() -> None:
    pages = {f"p{n}": f'<a href="/p{n + 1}">next</a>' for n in range(100)}
    site = Site(home='<a href="/p0">next</a>', **pages)
    assert len(list(walk(site, HOST, ("/",)))) == 12


def test_the_form_is_found_behind_a_link_or_at_a_common_path() -> None:
    for site in (Site(home='<a href="/here">Set up</a>', here=FORM), Site(home="<p>Hello</p>", config=FORM)):
        found = find_form(site, HOST)
        assert found is not None
        assert found[0] in ("/here", "/config")
        assert len(found[1].settings) == 2
    assert find_form(Site(home="<p>Hello</p>"), HOST) is None
    assert FORM_PATHS[0] == "/"


def test_the_status_page_states_most_of_what_is_known() -> None:
    site = Site(
        home='<dl><dt>V</dt><dd>1.4</dd></dl><a href="/a">a</a>',
        a="<dl><dt>V</dt><dd>1.4</dd><dt>N</dt><dd>bench</dd></dl>",
    )
    pages = list(walk(site, HOST, ("/",)))
    known = {"version": "1.4", "network": "bench"}
    found = status_page(pages, known)
    assert found is not None
    assert found.path == "/a"
    assert status_page(pages, {"version": "9"}) is None


def test_a_page_has_the_settings_or_not() -> None:
    (found,) = walk(Site(home=FORM), HOST, ("/",))
    ssid = Setting(control="ssid")
    assert has_settings(found.page, {"network": ssid})
    assert not has_settings(found.page, {"network": ssid, "other": Setting(control="other")})
    assert not has_settings(found.page, {})
