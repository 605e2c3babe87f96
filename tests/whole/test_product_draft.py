"""A product file drafted from the demo unit alone, its questions answered, judges that unit: it passes."""

import re
import tomllib
from pathlib import Path

from support.runs import Ended, accept, hil

from hil.core.product import load_product
from hil.virtual import DEMO_PRODUCT

STAGES = {"starting", "joining", "setup", "connected"}


def answer(file: Path) -> None:
    """Answer what the draft asks, as somebody would who knows the demo unit: edit the keys, take the questions out."""
    text = file.read_text(encoding="utf-8")
    text = re.sub(r"questions = \[\n(?:    .*\n)*\]\n", "", text)
    text = text.replace('name = "mossgate"', 'name = "Mossgate MV-2"').replace('model = "mossgate"', 'model = "MV-2"')
    text = text.replace('connected_user = ""', 'connected_user = "vent"')
    file.write_text(text, encoding="utf-8")


def draft(file: Path) -> Ended:
    """Watch a good unit and write its first product file."""
    drafted = hil("product", "draft", cwd=file.parent)
    assert drafted.code == 0, drafted.out + drafted.err
    assert file.exists()
    return drafted


def test_the_draft_of_the_demo_unit_judges_it(tmp_path: Path) -> None:
    file = tmp_path / "product.toml"
    drafted = draft(file)
    all_heard = all(f"stage: {stage}" in file.read_text(encoding="utf-8") for stage in STAGES)
    # A witness that slept could not tell a stage: the draft asks, or leaves its line out.
    if "the lamp looked as in" in drafted.out or not all_heard:
        file.unlink()
        drafted = draft(file)

    # With its questions open it judges nothing; the command has printed every one of them.
    questions = tomllib.loads(file.read_text(encoding="utf-8"))["questions"]
    assert questions
    assert all(f"  {question}\n" in drafted.out for question in questions)
    for command in (["product", "check", "product.toml"], ["accept", "--product", "product.toml"]):
        refused = hil(*command, cwd=tmp_path)
        assert refused.code == 2
        assert "product.toml: questions" in refused.err

    answer(file)
    accepted = accept("--product", str(file), cwd=tmp_path)
    assert accepted.code == 0, accepted.out + accepted.err

    # What the demo's own product file says of it, by the people who made it, was seen.
    seen, promised = load_product(file), load_product(DEMO_PRODUCT)
    unseen = {"captive": False, "names": False}  # nobody asked for other pages or names
    assert seen.hotspot.model_dump() | unseen == promised.hotspot.model_dump() | unseen
    assert {name: stage for name, stage in promised.stages.items() if name in seen.stages} == seen.stages
    assert set(seen.stages) == STAGES
    roles = {setting.control or setting.label: setting.role for setting in promised.form.settings.values()}
    assert {s.control for s in seen.form.settings.values() if s.role} == {name for name, role in roles.items() if role}
    free_memory = promised.status.free_memory  # to the draft a figure like any other
    assert free_memory is not None
    others = (*promised.status.others, free_memory)
    assert seen.status == promised.status.model_copy(update={"free_memory": None, "others": others})
    assert seen.form.connected_path == promised.form.connected_path
    assert re.search(seen.console.version or "", "mossgate MV-2 1.4.0 serial MV2-0418-00731")
    assert seen.console.stages == {name: s for name, s in promised.console.stages.items() if name in seen.stages}
