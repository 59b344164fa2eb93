"""What a run rests on: the inputs as written, and the assumptions with their sources."""

from raysim.base import units
from raysim.library.assumptions import assumptions
from raysim.library.organisms import find_organism
from raysim.scene.file.things import Pose, SurfaceTable
from raysim.scene.file.written import LampsBehaviour, SceneAsWritten, Target


def stated_assumptions(scene: SceneAsWritten) -> tuple[tuple[str, str, str], ...]:
    """(what, value as printed, source with its mark) of everything not measured in this scene."""
    behaviour, target = scene.lamps_behaviour, scene.target
    given = target.model_fields_set | behaviour.model_fields_set
    factor, warm_up = f"{target.safety_factor:g}", _warm_up_words(scene)
    end_of_life = f"lamp output at the end of {behaviour.rated_hours:g} h (cautious case)"

    def lamps(what: str, key: str, assumption: str) -> tuple[str, str, str]:
        value = f"{getattr(behaviour, key):g} of the rating"
        return _row(what, value, assumption, key in given)

    rows = [
        _target_row(target),
        _row("safety factor on the dose", factor, "safety_factor", "safety_factor" in given),
        _row("warm-up after switch-on", warm_up, "warm_up_time_min", "warm_up" in given),
        lamps(end_of_life, "ageing", "ageing_factor_rated_life"),
        _temperature_row(behaviour),
        lamps("dirt on the lamps (cautious case)", "dirt", "lamp_dirt_clean"),
        lamps("mains supply (cautious case)", "supply", "supply_factor"),
    ]
    if len(scene.pose) > 1:
        source = "cautious choice: whoever opens the door must find them out"
        rows.append(
            ("lamps while the load is turned over", "off; every pose warms up anew", source)
        )
    return tuple(rows)


def _row(what: str, value: str, key: str, given: bool) -> tuple[str, str, str]:
    if given:
        return what, value, "given in the scene"
    assumption = assumptions()[key]
    return what, value, f"{assumption.source} ({assumption.mark})"


def _temperature_row(behaviour: LampsBehaviour) -> tuple[str, str, str]:
    """What the air in the box does to the lamps: the stated factor, or a curve and degrees."""
    what = "lamp output in the warm closed box (cautious case)"
    if behaviour.air is None:
        given = "temperature" in behaviour.model_fields_set
        return _row(what, f"{behaviour.temperature:g} of the rating", "temperature_factor", given)
    curve, (coldest, hottest) = behaviour.output_curve, behaviour.air
    air = f"{coldest:.3g} to {hottest:.3g} C" if hottest > coldest else f"{coldest:.3g} C"
    value = f"{curve.least(coldest, hottest):.3g} of the rating, air at {air}"
    return what, value, f"air given in the scene; curve: {curve.source}"


def _target_row(target: Target) -> tuple[str, str, str]:
    """Target dose, and whether a person, an organism or the default set it."""
    what = "target dose on every judged face-side"
    value = f"{target.dose / units.J_M2_PER_J_CM2:.4g} J/cm2"
    needed = target.organism_dose
    if needed is None or target.organism is None:
        return _row(what, value, "target_dose_J_cm2", target.given_dose is not None)
    found = find_organism(target.organism, target.carrier)
    asked = (
        f"{target.log_reduction:g} logs of {found.name} on {found.carrier} take "
        f"{needed / units.J_M2_PER_J_CM2:.3g} J/cm2 at the high end: {found.source} ({found.mark})"
    )
    if target.dose > needed:
        default = assumptions()["target_dose_J_cm2"]
        asked += f"; never less than the default: {default.source} ({default.mark})"
    return what, value, asked


def _warm_up_words(scene: SceneAsWritten) -> str:
    warm_up = scene.lamps_behaviour.warm_up
    if warm_up.curve is not None:
        return f"curve of {len(warm_up.curve)} points, full after {warm_up.curve[-1][0]:g} s"
    if warm_up.time_constant is not None:
        return f"from {warm_up.start:g}, time constant {warm_up.time_constant:g} s"
    full = warm_up.full_after
    if full is None:
        full = 60.0 * assumptions()["warm_up_time_min"].value
    return f"from {warm_up.start:g} of full output, linear to full after {full:g} s"


def written_inputs(scene: SceneAsWritten) -> list[tuple[str, str]]:
    """Name and value of what the user wrote, as it is printed in the report."""
    chamber = scene.chamber
    if chamber.inside is not None:
        shape = " x ".join(f"{1000 * side:g}" for side in chamber.inside) + " mm inside"
    else:
        shape = f"mesh {chamber.mesh}"
    rows = [("chamber (width x depth x height)", shape), ("lining", _surface_words(chamber.lining))]
    rows += [(f"wall: {name}", _surface_words(wall)) for name, wall in chamber.walls.items()]
    for lamp in scene.lamp:
        ends = " to ".join(_point(point) for point in (lamp.start, lamp.end))
        tubes = f"{lamp.tubes} tubes, " if lamp.tubes > 1 else ""
        rows.append(
            (f"lamp: {lamp.name}", f"{tubes}{1000 * lamp.diameter:g} mm thick, from {ends} mm")
        )
    for entry in scene.object:
        judged = ", judged" if entry.judged else ""
        turned = ", turned " + _triple(entry.turn) + " degrees" if any(entry.turn) else ""
        rows.append(
            (f"object: {entry.name}", f"{entry.mesh} at {_point(entry.at)} mm{turned}{judged}")
        )
    for pose, share in zip(scene.pose, scene.pose_shares, strict=False):
        rows.append((f"pose: {pose.name}", _pose_words(pose, share)))
    return rows


def _pose_words(pose: Pose, share: float) -> str:
    words = [f"{share:.4g} of the light"]
    if any(pose.turn):
        words.append(f"judged objects turned by {_triple(pose.turn)} degrees more")
    for entry in pose.object:
        at = f" at {_point(entry.at)} mm" if entry.at is not None else ""
        turned = f" turned {_triple(entry.turn)} degrees" if entry.turn is not None else ""
        words.append(f"{entry.name}{at}{turned}")
    return ", ".join(words)


def _surface_words(choice: str | SurfaceTable) -> str:
    if isinstance(choice, str):
        return choice
    given = choice.model_dump(exclude_none=True, exclude_unset=True)
    return ", ".join(f"{key} {value}" for key, value in given.items())


def _triple(values: tuple[float, float, float]) -> str:
    return "(" + ", ".join(f"{value:g}" for value in values) + ")"


def _point(point: tuple[float, float, float]) -> str:
    return "(" + ", ".join(f"{1000 * value:g}" for value in point) + ")"
