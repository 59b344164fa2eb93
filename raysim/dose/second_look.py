"""What the original of a thinned mesh gets at its darkest spots: a record, and what follows."""

import math
from dataclasses import dataclass, replace

from raysim.base.cases import CAUTIOUS
from raysim.base.errors import Fault, Level
from raysim.base.fault_codes import Code
from raysim.base.figures import Figures
from raysim.dose.exposure import Requirement
from raysim.dose.result import CaseResult, Spot


@dataclass(frozen=True)
class SecondLook(Figures):
    """What the original meshes get at the darkest spots of the thinned ones.

    `spots` are the worst by case and object, with `face` and `side` of the nearest thinned one;
    `bounds` (cases,) W/m2 hold for all that was looked at, `faces` of them.
    """

    spots: dict[str, dict[str, Spot]]
    bounds: dict[str, float]
    faces: int
    rays: int

    def applied(self, case: CaseResult, requirement: Requirement) -> CaseResult:
        """A case whose worst spots and bound are those of the original where that is darker."""
        own = self.spots.get(case.name, {})

        def darker(spot: Spot, part: bool = False) -> Spot:
            found = own.get(spot.object, spot)
            same = not part or found.part == spot.part
            return found if same and found.irradiance < spot.irradiance else spot

        worst = darker(case.worst)
        for found in own.values():
            worst = found if found.irradiance < worst.irradiance else worst
        bound = min(case.bound, self.bounds.get(case.name, math.inf))
        summary = replace(case.summary, worst=worst.irradiance, bound=bound)
        of_objects = tuple(map(darker, case.worst_per_object))
        least = {name: spot.lower_bound for name, spot in own.items()}
        return replace(
            case,
            worst=worst,
            bound=bound,
            exposure_time=requirement.time(bound),
            precision=1.0 - bound / worst.irradiance if worst.irradiance > 0.0 else 1.0,
            summary=summary,
            per_object=tuple(
                replace(
                    one, worst=spot.irradiance, bound=min(one.bound, least.get(one.name, one.bound))
                )
                for one, spot in zip(case.per_object, of_objects, strict=True)
            ),
            worst_per_object=of_objects,
            worst_per_part=tuple(darker(spot, part=True) for spot in case.worst_per_part),
        )

    def told(self, case: CaseResult, path: str) -> Fault:
        """What the second look showed in the cautious case, as a warning."""
        found = min(self.spots[CAUTIOUS].values(), key=lambda spot: spot.irradiance)
        share = found.irradiance / case.worst.irradiance if case.worst.irradiance > 0.0 else 1.0
        what = (
            f"the darkest spots of the thinned mesh were judged again on {self.faces:,} faces of "
            f"the original: the worst gets {share:.3g} times what the thinned mesh showed"
            + (", and sets the time" if self.bounds[CAUTIOUS] < case.bound else "")
        )
        mend = "what the lamps one by one and the poses give is that of the thinned mesh"
        return Fault(Code.JUDGED_AGAIN, path, "object.thin", what, mend, Level.WARNING)
