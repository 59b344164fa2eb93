"""Ready-made, invented parts for the demo scenes, in millimetres: z up, outside faces -y.

A respirator is 'shell', 'straps' and 'nose clip': open sheets for two-sided use, with normals away
from the wearer. The clip is a band of the shell's own triangles. The origin is the hook point: the
axis of the hook's wire runs along y through it.
"""
