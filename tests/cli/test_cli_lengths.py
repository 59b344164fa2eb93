"""Lengths on the command line: plain numbers are in the unit of the scene, as in its file."""

import click
import pytest

import raysim.cli.hooks
import raysim.cli.lamps

COMMANDS = {"hooks": raysim.cli.hooks.command, "lamps": raysim.cli.lamps.command}


def typed(command, *words):
    """What a command was asked, as its function would get it."""
    return command.make_context(command.name, list(words)).params


@pytest.fixture
def scene(tmp_path):
    def written(units):
        path = tmp_path / "scene.toml"
        path.write_text(
            f"""title = "Chest"
            units = "{units}"
            chamber = {{ inside = [22, 12, 14], lining = "dull foil" }}
            lamp = [{{ name = "a", from = [1, 2, 2], to = [1, 9, 2], diameter = 1, uvc = "2 W" }}]
            """
        )
        return str(path)

    return written


@pytest.mark.parametrize(("units", "metres"), [("in", 0.0254), ("inch", 0.0254), ("cm", 0.01)])
def test_plain_numbers_are_in_the_unit_of_the_scene(scene, units, metres):
    words = ("--at", "7,6,13", "--spacing", "2", "--x", "3..9", "--clear-wall", "5 mm")
    for order in ((scene(units), *words), (*words, scene(units))):
        asked = typed(COMMANDS["hooks"], *order)
        assert asked["at"][0] == pytest.approx((7 * metres, 6 * metres, 13 * metres))
        assert asked["spacing"] == pytest.approx(2 * metres)
        assert asked["x"] == pytest.approx((3 * metres, 9 * metres))
        assert asked["clear_wall"] == pytest.approx(0.005)
        assert asked["clear_lamp"] == pytest.approx(0.030)  # of its own, in mm
    asked = typed(COMMANDS["lamps"], scene(units), "--at", "1,2,2..1,10,2")
    assert asked["at"][0][1] == pytest.approx((metres, 10 * metres, 2 * metres))


@pytest.mark.parametrize("name", COMMANDS)
def test_help_comes_before_a_scene_that_is_not_there(name):
    with pytest.raises(click.exceptions.Exit):
        typed(COMMANDS[name], "nowhere.toml", "--help")
