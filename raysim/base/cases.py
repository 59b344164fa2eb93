"""The three cases that are computed together; arrays over cases are in the order of `CASES`."""

CAUTIOUS, EXPECTED, BRIGHT = "cautious", "expected", "bright"
CASES = (CAUTIOUS, EXPECTED, BRIGHT)
