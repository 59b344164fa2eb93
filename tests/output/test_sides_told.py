"""Places of a head: from the walls of a box with a door, along the axes in any other chamber."""

import pytest
from small_scenes import box, small_scene, write_scene

import raysim
from raysim.output.studies.survey import sheet_of
from raysim.output.words.survey import survey_table
from raysim.scene.sides import OF_AXES, OF_BOX
from raysim.studies import survey

POINT = {"name": "middle", "at": [150, 60, 200], "facing": [0, -1, 0]}


@pytest.mark.parametrize("chamber", ["box", "mesh"])
def test_the_survey_speaks_of_the_sides_that_there_are(tmp_path, chamber):
    data, vessel = small_scene() | {"meter": [POINT]}, {}
    inside = data["chamber"]["inside"]
    if chamber == "mesh":
        data["chamber"] = {"mesh": "vessel.ply", "lining": "aluminium foil, bright side"}
        vessel["vessel"] = box(inside)
    own, other = (OF_BOX, OF_AXES) if chamber == "box" else (OF_AXES, OF_BOX)
    scene = raysim.load_scene(write_scene(tmp_path, data, **vessel))
    found = survey.study(scene)
    sheet, table = sheet_of(found), survey_table(found.rows, scene.triangles)
    (place,) = (cell for cell in sheet.split("<td>") if cell.startswith("150 "))
    for words in own.measured:
        assert words in place
    (row,) = table.rows
    assert row[table.headings.index("facing")] == own.ways[1][0]
    assert f"<td>{own.ways[1][0]}</td>" in sheet
    assert other.ways[1][0] not in sheet
