"""Several poses in one cycle, in words and a table: is turning over half-way worth it?"""

import numpy as np

from raysim.output.report_tables import Table
from raysim.output.sentences import number, spot_words
from raysim.result import PoseResult, Result
from raysim.units import minutes_seconds, to_mW_cm2

# Times nearer to each other than the bounds are to the truth cannot be told apart: 2 % for the
# cycle unless asked otherwise, 5 % for a pose alone.
ALIKE = 0.07
POSE_NOTE = (
    "Shares are shares of the light. The lamps are taken to be switched off whenever the load is "
    "turned over, and each pose starts from cold lamps; lamps that are still warm start faster, "
    "so the times err on the long side. Opening, turning and shutting are not counted."
)


def pose_lines(result: Result) -> list[str]:
    """Turning over against hanging in one pose all along; nothing for a single pose."""
    if not result.poses:
        return []
    first = result.poses[0].name
    places = f'Places are those of the first pose, "{first}".'
    return [_verdict(result), f"{POSE_NOTE} {places}"]


def _verdict(result: Result) -> str:
    best = min(result.poses, key=lambda pose: pose.alone)
    if not np.isfinite(best.alone):
        return f"{_dark_alone(best)} {_in_poses(result)}"
    alone = (
        f'Left as in "{best.name}" all along, in one cycle, every side would need '
        f"{minutes_seconds(best.alone)} at most"
    )
    if not np.isfinite(result.timer):
        return f"{alone}; turned over, no time can be vouched for."
    saved = best.alone - result.timer
    turned = f"turned over it takes {minutes_seconds(result.timer)} of light"
    if abs(saved) < ALIKE * best.alone:
        return f"{alone}, and {turned}: this run cannot tell the two apart. Do not turn over."
    if saved < 0.0:
        return f"{alone}; {turned}. Turning over does not pay: leave the load in that pose."
    return f"{alone}; {turned}, which saves {minutes_seconds(saved)} less the time at the door."


def _dark_alone(pose: PoseResult) -> str:
    spot = pose.alone_worst
    seen = number(to_mW_cm2(spot.irradiance)) if spot.irradiance > 0.0 else "no light"
    unit = " mW/cm2" if spot.irradiance > 0.0 else ""
    return (
        f'In one pose all along no time can be vouched for (best "{pose.name}": {seen}{unit} '
        f"found at {spot_words(spot)})."
    )


def _in_poses(result: Result) -> str:
    if not np.isfinite(result.timer):
        return "Turning over as asked does not help: some side stays dark in every pose."
    return (
        f"Turned over, every side gets its dose in {minutes_seconds(result.timer)} of light: turn "
        "the load over, or find a pose in which all sides see light."
    )


def poses_table(result: Result) -> Table | None:
    """Share and time of each pose, and the time it would take alone; none for a single pose."""
    if not result.poses:
        return None
    rows = [
        (
            pose.name,
            spot_words(pose.alone_worst),
            f"{100.0 * pose.share:.3g}",
            minutes_seconds(pose.time),
            minutes_seconds(pose.alone),
        )
        for pose in result.poses
    ]
    headings = (
        "pose",
        "worst spot if it hung so all along",
        "share, %",
        "timer of this pose",
        "time it would take alone",
    )
    return Table(headings, tuple(rows), 2, f"Cautious case. {POSE_NOTE}")
