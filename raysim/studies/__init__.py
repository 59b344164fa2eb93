"""Questions that take more than one trace: linings, shadows, lamps, hooks, leak, survey, design.

Each has a call `study(scene, ...)`, as in `from raysim.studies import linings`; that of design
takes the file of a wish. What it gives is written by `write` of the module of the same name in the
room output/studies.
"""
