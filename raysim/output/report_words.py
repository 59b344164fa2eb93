"""What the numbers are worth, in plain words."""

import math

from raysim.output.report_tables import irradiance_words, reflectance_spread
from raysim.output.sentences import number, spot_words
from raysim.result import CAUTIOUS, Result
from raysim.units import to_mW_cm2


def uncertainty_words(result: Result) -> list[str]:
    """Paragraphs on counting error, on the bound, and on what neither of them covers."""
    case = result.cases[CAUTIOUS]
    error = irradiance_words(case.worst.irradiance, case.worst.standard_error)
    confidence = f"{result.confidence:.0%}"
    words = [
        (
            "Counting error. Light is followed photon by photon, so every figure carries a counting "
            f"error; ± is one standard error. At the worst spot ({spot_words(case.worst)}) the "
            f"cautious case gives {error} mW/cm²."
        ),
        (
            f"Bound. With {confidence} confidence no judged spot of the cautious case gets less than "
            f"{number(to_mW_cm2(case.bound))} mW/cm², whichever spot is truly the worst. The timer is "
            "worked out from this bound, so counting error makes the time longer, never shorter."
        ),
        (
            "Not in the bound: the reflectance of linings and respirators, the output of the lamps, "
            "the shape and place of everything in the box, temperature, dirt and age. The cautious "
            "case covers them only as far as its low ends go: the lowest listed reflectance of every "
            f"surface and {case.lamp_factor:.0%} of the rated lamp output. A lining darker than that, "
            "or a weaker lamp, gives less dose than stated here."
        ),
    ]
    spread = reflectance_spread(result)
    if math.isfinite(spread):
        words.append(
            "How much reflectance matters here: at equal lamp output, the worst spot of the "
            f"bright case (high ends) gets {number(spread)} times that of the cautious case (low "
            "ends)."
        )
    words.append(
        "Only a measurement settles it. Hold a calibrated 254 nm meter at the worst spot and at "
        "some others, lamps warm, box loaded and closed, and compare."
    )
    return words
