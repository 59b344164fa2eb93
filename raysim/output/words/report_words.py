"""Uncertainty of the numbers in plain words."""

from raysim.base.cases import CAUTIOUS
from raysim.dose.result import Result
from raysim.output.words.numbers import milliwatts, number, spot_irradiance, spot_words
from raysim.output.words.tables import reflectance_gain

_COUNTING = """\
Counting error. Light is followed photon by photon, so every figure carries a counting error; ± is
one standard error. At the worst spot ({spot}) the cautious case gives {irradiance} mW/cm²."""
_BOUND = """\
Bound. With {confidence:.0%} confidence no judged spot of the cautious case gets less than {bound}
mW/cm², whichever spot is truly the worst. The timer is worked out from this bound, so counting
error makes the time longer, never shorter."""
_NOT_IN_BOUND = """\
Not in the bound: the reflectance of linings and respirators, the output of the lamps, the shape
and place of everything in the box, temperature, dirt and age. The cautious case covers them only
as far as its low ends go: the lowest listed reflectance of every surface and {output:.0%} of the
rated lamp output. A lining darker than that, or a weaker lamp, gives less dose than stated here."""
_GAIN = """\
How much reflectance matters here: at equal lamp output, the worst spot of the expected case gets
{gain} times that of the cautious case. The larger this number, the more the time depends on
surfaces being as good as believed."""
_MEASURE = """\
Only a measurement settles it. Hold a calibrated 254 nm meter at the worst spot and at some others,
lamps warm, box loaded and closed, and compare."""


def uncertainty_words(result: Result) -> list[str]:
    """Paragraphs on the counting error, on the bound, and on what neither includes."""
    case = result.cases[CAUTIOUS]
    words = [
        _COUNTING.format(spot=spot_words(case.worst), irradiance=spot_irradiance(case.worst)),
        _BOUND.format(confidence=result.confidence, bound=milliwatts(case.bound)),
        _NOT_IN_BOUND.format(output=case.lamp_factor),
    ]
    gain = reflectance_gain(result)
    if gain is not None:
        words.append(_GAIN.format(gain=number(gain)))
    return [*words, _MEASURE]
