"""The draft's text: TOML read back by the standard library's `tomllib`, every question in its place and in the list."""

import tomllib
from pathlib import Path

import pytest

from hil.core.errors import InputError
from hil.core.product import Bound, Console, Flash, Hotspot, Lamp, Product, StatusPage, load_product
from hil.drive.draft.draft import Draft, Proposal
from hil.drive.draft.figures import lamp_of, proposed
from hil.drive.draft.form_told import tell_form
from hil.drive.draft.write import toml_value, write_draft
from hil.lamp import OFF, Appearance
from hil.page.read import read_page
from hil.page.recognise import recognise_form

NASTY = [
    "quote \" and backslash \\ and '",
    "line\nend\ttab\r\b\f",
    "\x00\x01\x1f\x7f\x80\x9f",
    "Öffnen ab (°C) 網路 😀",
    "\u202e\u2028\ufeff",
    "# no comment = { }",
    "",
]


@pytest.mark.parametrize("text", NASTY)
def test_any_text_comes_back_as_value_and_as_key(text: str) -> None:
    assert tomllib.loads(f"v = {toml_value(text)}")["v"] == text
    assert tomllib.loads(f"v = {toml_value({text: [text, 1]})}")["v"] == {text: [text, 1]}


def test_other_values_come_back() -> None:
    value = {"a": True, "b": -3, "c": 0.5, "d": [], "e": {}, "f": ({"x": 1e-07},), "g": 1e300}
    back = tomllib.loads(f"v = {toml_value(value)}")["v"]
    assert back == {**value, "f": [{"x": 1e-07}]}
    with pytest.raises(TypeError):
        toml_value(object())


def test_a_lone_surrogate_becomes_the_replacement_character() -> None:
    assert tomllib.loads(f"v = {toml_value(chr(0xD800))}".encode().decode())["v"] == "\ufffd"


def whole_draft() -> Draft:
    """A draft with all parts, of a product that is not the demo."""
    draft = Draft(seen_on="Drafted on a day\nfrom a unit.")
    draft.hotspot = Hotspot(name="gate {address_tail}", security="open", address="192.0.2.1")
    page = read_page(
        '<form><label>Réseau <input name="r"></label><label>Mot de passe <input type="password" name="m"></label>'
        '<label>"Taux" [min] <input type="number" name="n\u202e" value="5"></label></form>'.encode(),
        "text/html; charset=utf-8",
        "http://192.0.2.1/",
    )
    form = recognise_form(page)
    assert form is not None
    tell_form(draft, ("/conf", form), by_hand=False)
    two = (Flash(colour="amber", for_s=0.6), Flash(colour="dark", for_s=0.9))
    draft.stages = {
        "setup": Lamp(sequence=two),
        "connected": Lamp(colour="green"),
        "joining": Lamp(colour="red", flash_hz=0.8),
    }
    draft.limits = {
        "hotspot_up_s": Proposal(Bound(upper=33.0), "seen 26.3 s"),
        "connected_s": Proposal(Bound(upper=9.5), "seen 7 s"),
        "gives_up_s": Proposal(Bound(lower=19.0, upper=30.0), "seen 24 s"),
    }
    draft.status = StatusPage(path="/état", version="Ver#ion", others=("a", "b"))
    draft.console = Console(speaks=False)
    return draft


def answered(text: str) -> str:
    """The same with the list emptied, as a person leaves it."""
    head, _, rest = text.partition("questions = [")
    return head + rest.partition("\n]\n")[2]


def test_an_answered_draft_is_a_product_file_with_all_that_was_seen(tmp_path: Path) -> None:
    draft = whole_draft()
    text, _ = write_draft(draft)
    file = tmp_path / "p.toml"
    file.write_text(answered(text), encoding="utf-8")
    product = load_product(file)
    assert product.hotspot == draft.hotspot
    assert {name: stage.lamp for name, stage in product.stages.items()} == draft.stages
    assert {name: bound for name, bound in product.limits if bound} == {n: p.bound for n, p in draft.limits.items()}
    assert product.form.settings == draft.by_name
    assert product.form.path == "/conf"
    assert product.status == draft.status
    assert not product.console.speaks


def test_a_draft_with_a_question_left_is_refused(tmp_path: Path) -> None:
    text, questions = write_draft(whole_draft())
    file = tmp_path / "p.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_product(file)
    assert "questions" in caught.value.problem
    assert "QUESTION" in str(caught.value)
    one_left = answered(text).replace("\nname =", f"\nquestions = [{toml_value(questions[-1])}]\nname =", 1)
    file.write_text(one_left, encoding="utf-8")
    with pytest.raises(InputError, match="1 open"):
        load_product(file)


def test_every_question_stands_in_the_list_and_beside_its_key() -> None:
    draft = whole_draft()
    draft.ask("form.settings.gone", "a key that is not written?")
    text, questions = write_draft(draft)
    assert tomllib.loads(text)["questions"] == questions
    assert len(questions) == len(draft.questions)
    lines = text.splitlines()
    for number, question in enumerate(questions, 1):
        (at,) = (n for n, line in enumerate(lines) if line.startswith(f"# QUESTION {number}: "))
        key = question.split(": ")[1]
        if key != "form.settings.gone":
            following = next(line for line in lines[at:] if not line.startswith("# QUESTION"))
            last = key.rpartition(".")[2]
            assert following.startswith((f"{last} =", f"# {last} =", f"[{key}]")), (key, following)


def test_a_draft_of_a_unit_that_came_no_further_asks_for_the_rest(tmp_path: Path) -> None:
    draft = Draft(hotspot=Hotspot(name="gate", security="open", address="192.0.2.1"), stopped="no form")
    text, questions = write_draft(draft)
    asked = {question.split(": ")[1] for question in questions}
    assert {"stages.setup", "stages.connected", "limits", "name"} <= asked
    file = tmp_path / "p.toml"
    file.write_text(answered(text), encoding="utf-8")
    with pytest.raises(InputError):  # what a product file must say is not made up
        load_product(file)


def test_no_text_of_a_unit_breaks_out_of_a_comment() -> None:
    draft = whole_draft()
    draft.note("name", 'a\nquestions = []\n"')
    draft.ask("name", "b\r\nmodel = 1\x85\u2028")
    data = tomllib.loads(write_draft(draft)[0])
    assert set(data) <= set(Product.model_fields)
    assert len(data["questions"]) == len(draft.questions)


def test_lamps_as_a_product_file_says_them() -> None:
    assert lamp_of(Appearance("white")) == Lamp(colour="white")
    assert lamp_of(Appearance("red", 2.0)) == Lamp(colour="red", flash_hz=2.0)
    assert lamp_of(Appearance("red", 2.0, 0.2)) == Lamp(colour="red", flash_hz=2.0, duty=0.2)
    assert lamp_of(Appearance(OFF)) == Lamp(colour="dark")
    sequence = lamp_of(Appearance(sequence=(("blue", 0.5), (OFF, 1.0))))
    assert sequence == Lamp(sequence=(Flash(colour="blue", for_s=0.5), Flash(colour="dark", for_s=1.0)))


def test_the_margin_is_the_one_the_file_states() -> None:
    assert proposed(24.0, 24.0, two_sided=True) == Bound(lower=19.0, upper=30.0)
    assert proposed(26.0, 26.4, two_sided=False) == Bound(upper=33.0)
    assert proposed(0.01, 0.02, two_sided=False) == Bound(upper=1.0)
    assert proposed(0.3, 0.4, two_sided=True) == Bound(lower=0.0, upper=1.0)
