"""Tests of mends as buttons: each takes its fault away, and leaves no other."""

import pytest
from small_scenes import small_scene, write_scene

from raysim.base.errors import SceneError
from raysim.page.document import Document
from raysim.page.mends import with_mends
from raysim.page.sketch.process import fault_record
from raysim.scene.build import build_scene
from raysim.scene.check.check import check_scene

LAMP = {"uvc": "1.5 W", "diameter": 16, "electrical": "6 W"}


def faults(document: Document) -> list[dict]:
    """Everything wrong with a draft, as the page gets it."""
    found = document.faults
    if document.scene is not None:
        try:
            found = check_scene(build_scene(document.path, document.scene))
        except SceneError as error:
            found = error.faults
    return with_mends([fault_record(one) for one in found], document)


def scene(**changed) -> dict:
    data = small_scene()
    for path, value in changed.items():
        *way, last = path.split("__")
        table = data
        for step in way:
            table = table[int(step) if step.isdigit() else step]
        table[int(last) if last.isdigit() else last] = value
    return data


@pytest.mark.parametrize(
    ("code", "data"),
    [
        ("cuts-wall", scene(lamp__0__from=[3, 40, 60], lamp__0__to=[3, 40, 290])),
        ("outside-box", scene(lamp__0__from=[-40, 40, 60], lamp__0__to=[-40, 40, 290])),
        ("mains-watts", scene(lamp__0=LAMP | {"name": "a", "uvc": "6 W", "from": [40, 40, 80], "to": [40, 40, 240]})),
        ("unknown-surface", scene(chamber__lining="aluminium foil, bright sid")),
        ("lamp-past-life", scene(lamp__0__hours=9000)),
        ("low-target", scene(target={"dose": "0.1 J/cm2"})),
        ("judge-area", scene(target={"judge_area": "1 cm2"})),
        ("unknown-key", scene(lamp__0__colour="blue")),
        ("loose-name", scene(chamber__lining="foil")),
    ],
    ids=lambda one: one if isinstance(one, str) else "",
)  # fmt: skip
def test_a_mend_takes_its_fault_away_and_makes_no_error(tmp_path, code, data):
    document = Document(write_scene(tmp_path, data))
    before = [one for one in faults(document) if one["code"] == code]
    if not before:
        pytest.fail(f"no {code} in {[one['code'] for one in faults(document)]}")
    assert before[0]["button"]
    document.edit(before[0]["edit"], before[0]["button"])
    after = faults(document)
    assert code not in [one["code"] for one in after]
    assert "error" not in [one["level"] for one in after]
    document.undo()
    assert code in [one["code"] for one in faults(document)]


def test_a_fault_without_a_mend_of_its_own_names_its_thing(tmp_path):
    data = small_scene()
    data["lamp"][0]["uvc"] = "much"
    (fault,) = faults(Document(write_scene(tmp_path, data)))
    assert fault["thing"] == ["lamp", 0]
    assert fault["about"] == "uvc"
    assert "edit" not in fault
