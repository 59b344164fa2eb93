"""The codes of faults: a short word for each kind, that programs may rely on.

The wording of a fault may change, its code does not. A new kind of fault gets a line here.
"""

from enum import StrEnum, unique


@unique
class Code(StrEnum):
    """What kind of fault it is, whatever its words."""

    # The scene file and its keys
    SCENE_UNREADABLE = "scene-unreadable"  # no file, not a file, no rights, no text
    NOT_TOML = "not-toml"
    UNKNOWN_KEY = "unknown-key"
    MISSING_KEY = "missing-key"
    BAD_VALUE = "bad-value"  # a value, or values that do not go together
    MORE_FAULTS = "more-faults"  # than are shown
    # Names and surfaces
    NAME_TAKEN = "name-taken"
    UNKNOWN_SURFACE = "unknown-surface"
    LOOSE_NAME = "loose-name"  # of a surface: it fits several
    BAD_SURFACE = "bad-surface"
    UNKNOWN_WALL = "unknown-wall"
    UNKNOWN_PART = "unknown-part"
    NOTHING_JUDGED = "nothing-judged"
    NOT_JUDGED = "not-judged"  # what looks like a respirator
    # Mesh files
    MESH_FORMAT = "mesh-format"
    MESH_MISSING = "mesh-missing"
    MESH_UNREADABLE = "mesh-unreadable"
    MESH_EMPTY = "mesh-empty"
    MESH_TOO_LARGE = "mesh-too-large"
    MESH_INCOMPLETE = "mesh-incomplete"  # other than it announces
    MESH_BAD_NUMBER = "mesh-bad-number"
    MESH_BAD_FACE = "mesh-bad-face"
    MESH_NO_UNIT = "mesh-no-unit"  # of a size that fits no unit of length
    MESH_BACK_TO_BACK = "mesh-back-to-back"
    MESH_MENDED = "mesh-mended"  # what could only be meant in one way
    MESH_FINE = "mesh-fine"  # finer than light needs
    MESH_THINNED = "mesh-thinned"  # or cannot be
    MESH_GONE = "mesh-gone"  # while the scene was read
    # What is drawn in them
    NORMALS_DISAGREE = "normals-disagree"
    INSIDE_OUT = "inside-out"
    TRIANGLES_DROPPED = "triangles-dropped"
    TRIANGLES_LOOSE = "triangles-loose"
    FACES_BENT = "faces-bent"
    SOLID_OPEN = "solid-open"
    SOLID_TRANSMITS = "solid-transmits"
    BOX_OPEN = "box-open"
    BOX_CUTS_ITSELF = "box-cuts-itself"
    # Sizes and counts
    BOX_SIZE = "box-size"
    OBJECT_SIZE = "object-size"
    RESPIRATOR_SIZE = "respirator-size"
    LAMP_DIAMETER = "lamp-diameter"
    EDGE_TOO_SHORT = "edge-too-short"
    TOO_MANY_TRIANGLES = "too-many-triangles"
    TOO_MANY_TALLIES = "too-many-tallies"
    # Lamps, linings and the target
    MAINS_WATTS = "mains-watts"  # electrical watts given for those of UVC
    LAMP_POWER = "lamp-power"
    TUBE_TOO_BRIGHT = "tube-too-bright"
    LAMP_PAST_LIFE = "lamp-past-life"
    COLD_START = "cold-start"
    WEAK_LINING = "weak-lining"
    LINING_TOO_BRIGHT = "lining-too-bright"
    NO_LOW_END = "no-low-end"
    LOW_TARGET = "low-target"
    CARRIER_NOT_FABRIC = "carrier-not-fabric"
    JUDGE_AREA = "judge-area"
    # Who is in whose way
    OUTSIDE_BOX = "outside-box"
    CUTS_WALL = "cuts-wall"
    CUTS_OTHER = "cuts-other"
    LIES_ON_OTHER = "lies-on-other"
    TOUCHES_OTHER = "touches-other"
    CAPS_MEET = "caps-meet"  # of two lamps
    CANNOT_HANG = "cannot-hang"  # too long for the place where it hangs
    NOTHING_HOLDS_IT = "nothing-holds-it"
    METER_FACES_WALL = "meter-faces-wall"
    METER_IN_THE_WAY = "meter-in-the-way"  # of lamps or load
    # Gaps
    NO_GAP = "no-gap"
    GAP_NO_WALL = "gap-no-wall"
    GAP_OFF_WALL = "gap-off-wall"
    GAP_BEYOND_WALL = "gap-beyond-wall"
    GAP_TOO_WIDE = "gap-too-wide"
    # What a run finds
    LIGHT_LOST = "light-lost"
    JUDGED_AGAIN = "judged-again"  # on the original of a thinned mesh
    PRECISION_NOT_REACHED = "precision-not-reached"
