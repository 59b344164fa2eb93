"""What every box takes beside its panels, lamps and load: all of it common practice, no source."""

# Two switches that each cut the lamps.
DOOR = {
    "hinge, its pin not to be drawn": 2,
    "latch": 1,
    "door switch that cuts the lamps": 2,
    "time switch that cuts the lamps": 1,
    "start and stop button on a lead of 3 m, with a relay that stays off until started again": 1,
    "warning sign: UVC, injures eyes and skin, do not open while lit": 1,
    "bracket that holds the box to a wall or to the floor": 2,
    "tin of matt black paint for the light traps": 1,
    "sealant and glue that no light reaches": 1,
    "roll of black tape": 1,
    "screws and rivets for angle, holders, brackets and hinges, set": 1,
}
# What the electrician needs at least; the plan of the wiring, and more, is the electrician's.
WIRING = {
    "mains cable with plug and earth": 1,
    "fuse with its holder": 1,
    "metal housing for the ballasts": 1,
    "residual-current device": 1,
    "earth lead to the leaf of the door": 1,
    "earth screw with toothed and wide washer, for each metal part, set": 1,
}
# For two: one at the meter, and one who sees to it that nobody comes in.
CARE = {
    "face shield of polycarbonate that covers neck and sides": 2,
    "coat or sleeves, collar and gloves that let no UVC through, set": 2,
    "clean cotton gloves for tubes and lining, pair": 2,
    "glasses, and work gloves for carrying sheet with sharp edges, set": 1,
    "nitrile gloves, sticky tape, stiff paper and a jar that closes tightly, for a broken lamp": 1,
    "alcohol and lint-free cloth": 1,
    "calibrated 254 nm meter, head on a cable, bought or hired; shows 0.05 uW/cm2 outside, and "
    "what the guide's meter points must read": 1,
    "stand or clamp that holds the head of the meter by its back": 1,
    "white lamp that runs on a battery, bright, for the test of the seams": 1,
    "thermometer to be read after a cycle": 1,
}
