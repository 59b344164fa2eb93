"""Several poses in one cycle, in words and a table: is turning over half-way worth it?"""

from operator import attrgetter

import numpy as np

from raysim.base.units import minutes_seconds
from raysim.dose.result import PoseResult, Result
from raysim.output.words.numbers import milliwatts, spot_words
from raysim.output.words.sentences import informative, time_heading
from raysim.output.words.table import Table, table_of

POSE_NOTE = (
    "Shares are shares of the light. The lamps are taken to be switched off whenever the load is "
    "turned over, and each pose starts from cold lamps; lamps that are still warm start faster, "
    "so the times err on the long side. Opening, turning and shutting are not counted."
)


def pose_lines(result: Result) -> list[str]:
    """Turning over compared with one pose all along; nothing for a single pose."""
    if not result.poses:
        return []
    first = result.poses[0].name
    places = f'Places are those of the first pose, "{first}".'
    known = "" if result.needed == result.calculated else "As calculated, without the readings: "
    return [informative(result, f"{known}{_verdict(result)}"), f"{POSE_NOTE} {places}"]


def _verdict(result: Result) -> str:
    """Whether turning over saves time, as far as this run can tell.

    All times are calculated: a reading lengthens those of one pose alone as well.
    """
    sure, least = (min(result.poses, key=attrgetter(k)) for k in ("alone", "alone_least"))
    turned = f"turned over it takes {minutes_seconds(result.calculated)} of light"
    if result.calculated < least.alone_least:
        return f"{_alone_words(least)}; {turned}. {_saved_words(result, least)}"
    if sure.alone < result.calculated:
        time = minutes_seconds(sure.alone)
        left = f'Left as in "{sure.name}" all along, every side gets its dose in {time}'
        if not np.isfinite(result.calculated):
            return f"{left}; turned over, no time can be vouched for. Do not turn over."
        return f"{left}; {turned}. Turning over does not pay: leave the load in that pose."
    if not np.isfinite(result.calculated):
        return "Neither in one pose all along nor turned over can a time be vouched for."
    return f"{_alone_words(least)}, and {turned}: this run cannot tell which of the two is faster."


def _alone_words(pose: PoseResult) -> str:
    """Least time of the single pose that might be fastest, and the spot that needs it."""
    where = f'Left as in "{pose.name}" all along, in one cycle,'
    spot = spot_words(pose.alone_worst)
    if not np.isfinite(pose.alone_least):
        return f"{where} no light was found at {spot}"
    return f"{where} {spot} would need {minutes_seconds(pose.alone_least)} at least"


def _saved_words(result: Result, pose: PoseResult) -> str:
    saved = pose.alone_least - result.calculated
    if not np.isfinite(saved):
        return "Turn the load over, or find a pose in which all sides see light."
    return f"Turning over saves {minutes_seconds(saved)} or more, less the time at the door."


def poses_table(result: Result) -> Table | None:
    """Share and time of each pose, and the time it would take alone; none for a single pose."""
    if not result.poses:
        return None
    return table_of(
        result.poses,
        {
            "pose": lambda pose: pose.name,
            "worst spot if it hung so all along": lambda pose: spot_words(pose.alone_worst),
            "share, %": lambda pose: f"{100.0 * pose.share:.3g}",
            "timer of this pose": lambda pose: minutes_seconds(pose.time),
            "worst spot of the cycle gets, mW/cm²": lambda pose: milliwatts(pose.at_worst),
            time_heading(result, "time it would need alone, at least"): lambda pose: (
                minutes_seconds(pose.alone_least)
            ),
            time_heading(result, "time vouched for alone"): lambda pose: minutes_seconds(
                pose.alone
            ),
        },
        words=2,
        note=f"Cautious case. {POSE_NOTE}",
    )
