"""A slip in a scene file is answered by how the line should read."""

import pytest

from raysim.base.errors import SceneError
from raysim.scene.file.read import read_scene

SLIPS = {
    "judged = yes": "write judged = true",
    "judged = No": "write judged = false",
    "diameter = 2,6": 'write the decimal point as ".": diameter = 2.6',
    "uvc = 4.7 W": 'put a number with its unit in quotes: uvc = "4.7 W"',
    "uvc = 4,7 W  # new": 'put a number with its unit in quotes: uvc = "4.7 W"',
    'diameter = 1"': 'put a number with its unit in quotes: diameter = "1 in"',
    "units = cm": 'put words in quotes: units = "cm"',
    "units = \u201ccm\u201d": 'write straight quotes, "like these"',
    'units = "cm': 'close the quotes with "',
    'mesh = "C:\\Users\\crew\\cup.stl"': "write / for \\ in names of files",
    "judged = True": "write judged = true",
    "dirt = 95 %": "write a share of one: dirt = 0.95",
    "title =": "write what title is, or put # before the line",
    "name: left": "write = for the colon: name = left",
    "at = (1, 2, 3)": "write a list in square brackets: [1, 2, 3]",
    "at = [1, 2, 3": "close the list with ]",
    "a = 1\na = 2": "this name stands twice: join the two into one, or take one away",
    "= 3": "see the scene section of the README",
}


def faults(folder, text):
    """What the reader says of a scene file of this text."""
    path = folder / "scene.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SceneError) as caught:
        read_scene(path)
    return caught.value.faults


@pytest.mark.parametrize("line", SLIPS)
def test_the_answer_says_how_the_line_should_read(tmp_path, line):
    (fault,) = faults(tmp_path, f"{line}\n")
    assert fault.mend == SLIPS[line]
    assert fault.what.startswith("not valid TOML: ")


def test_the_line_itself_is_shown_in_short(tmp_path):
    (fault,) = faults(tmp_path, f'title = "a box"\nunits = {"c" * 300}\n')
    assert "(at line 2, column 9): units = cccc" in fault.what
    assert len(fault.what) < 150


def test_a_decimal_comma_in_a_list_is_told_from_numbers_too_many(tmp_path):
    found = faults(
        tmp_path, 'title = "x"\n[chamber]\ninside = [300, 250,5, 350]\nlining = "foil"\n'
    )
    fault = next(one for one in found if one.key.startswith("chamber"))
    assert fault.key == "chamber.inside"
    assert fault.what == "4 numbers stand here, 3 are asked for"
    assert fault.mend == 'write the decimal point as ".", 42.5 for 42,5'


def test_missing_tables_are_named_as_tables(tmp_path):
    said = {fault.key: fault.mend for fault in faults(tmp_path, 'title = "x"\n')}
    assert said["lamp"] == "add a table [[lamp]]"
    assert said["chamber"] == "add a table [chamber]"
