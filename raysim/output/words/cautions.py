"""The cautions, in one list: the terminal, the report and every file show them."""

CAUTION_LINE = (
    "UVC injures eyes and skin. Crisis-capacity measure only, not a medical device. Check with a "
    "calibrated 254 nm meter; follow the maker, the regulator and local codes; have wiring done "
    "by a licensed electrician."
)

# Asked of every box before it is bought for: ozone, see guide_use.py; the switch, IEC PAS
# 63313:2021 [read].
ASKED = (
    "Ask of the lamps: are they ozone-free (glass that stops 185 nm)? Ask of the door: does a "
    "switch of hardware cut the lamps when it opens? Neither can be seen in a scene."
)

_TEXT = """
UVC at 254 nm injures eyes and skin. Run the lamps only in the closed box, with a switch at the
door that cuts their power; never look at a lit lamp or reach in.

Crisis-capacity measure only: for the time when new respirators cannot be had. A treated respirator
is not a new one.

Not a medical device. This is a calculation of light on surfaces; it says nothing certain about
germs, about layers under the surface, or about fit and filtration.

Validate with a calibrated 254 nm meter before first use, after every change and on a schedule.
Where meter and calculation disagree, believe the meter and find out why.

Follow the instructions of the respirator's maker, the regulator and local codes; they come before
anything written here.

Have wiring done by a licensed electrician.

Treat only unsoiled, undamaged respirators; soil, make-up and folds keep light away. Straps are the
weak point and need a treatment of their own. Each respirator goes back to its wearer.

If the door was opened or a lamp was out, the cycle does not count: start the full time again.
"""
# Sources of the last two: unsoiled only, straps again and same wearer, Grist et al. review, doi
# 10.1089/apb.20.0051 [read]; straps, Mills et al. 2018, doi 10.1016/j.ajic.2018.02.018 [read]; full
# time again after any opening, ordinary practice [from memory].

CAUTIONS = tuple(" ".join(paragraph.split()) for paragraph in _TEXT.strip().split("\n\n"))
