"""Physics in compiled functions over scalars and flat arrays: the textbook part of raysim.

Nothing in here knows of files, units other than SI, printing or plotting. Modules of this folder
import only ``math``, ``numpy``, ``numba`` and one another.
"""
