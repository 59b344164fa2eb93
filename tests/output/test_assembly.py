"""Pictures of the steps of a guide: which there are, and that each shows what it says."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import synthetic
from PIL import Image

from raysim.output.pictures import assembly, draw
from raysim.output.words import guide as words
from raysim.output.words import guide_door, guide_fit, guide_light
from raysim.scene.triangles import wall_body


def drawn(triangles, folder) -> dict[str, np.ndarray]:
    found, trouble = draw.drawn_steps(triangles, folder)
    assert trouble == ""
    return {one.kind: np.asarray(Image.open(one.file).convert("L"), float) for one in found}


def test_each_step_has_a_picture_of_its_own(tmp_path):
    triangles = synthetic.triangles()
    shown = drawn(triangles, tmp_path)
    assert set(shown) == {
        "exploded", "shell", "door", "seams", "lined", "holders", "hooks", "load", "tubes",
    }  # fmt: skip
    pictures = list(shown.items())
    for number, (kind, image) in enumerate(pictures):
        assert np.ptp(image) > 50, kind
        for other, picture in pictures[:number]:
            assert (np.abs(image - picture) > 10).mean() > 0.001, (kind, other)


def test_a_vessel_without_names_has_no_panels_to_draw_apart_and_no_door(tmp_path):
    triangles = synthetic.triangles()
    bodies = tuple(wall_body("") if b.kind == "wall" else b for b in triangles.bodies[:1])
    parts = tuple(replace(p, body=max(p.body - 5, 0)) for p in triangles.parts)
    shown = drawn(replace(triangles, bodies=bodies + triangles.bodies[6:], parts=parts), tmp_path)
    assert not {"exploded", "door"} & set(shown)
    assert "shell" in shown


def test_the_words_name_pictures_that_there_are():
    named = set(assembly._STEPS)
    text = "".join(
        Path(one.__file__).read_text(encoding="utf-8")
        for one in (words, guide_door, guide_fit, guide_light)
    )
    told = {kind for kind in named if f'"{kind}"' in text}
    assert told == named


def test_without_graphics_the_guide_says_what_went_wrong(tmp_path, monkeypatch):
    monkeypatch.setattr(draw.sys, "executable", "/no/such/python")
    pictures, trouble = draw.drawn_steps(synthetic.triangles(), tmp_path)
    assert pictures == []
    assert "No such file" in trouble
