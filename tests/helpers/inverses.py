"""Densities and inverses of the samplers of `raysim.kernels.sampling`."""

import math

TWO_PI = 2.0 * math.pi


def cosine_hemisphere_density(x, y, z):
    """Probability per steradian of `square_to_cosine_hemisphere`: cos(theta)/pi (Lambert)."""
    return max(z, 0.0) / math.pi


def cosine_hemisphere_to_square(x, y, z):
    """Inverse of `square_to_cosine_hemisphere` (definition)."""
    angle = math.atan2(y, x) / TWO_PI
    return x * x + y * y, angle + 1.0 if angle < 0.0 else angle


def triangle_density(area):
    """Probability per m2 of `square_to_triangle` on a triangle of `area` m2 (definition)."""
    return 1.0 / area


def triangle_to_square(b1, b2):
    """Inverse of `square_to_triangle` (definition)."""
    root = b1 + b2
    return root * root, b2 / root


def cylinder_density(length, radius):
    """Probability per m2 of `square_to_cylinder` (definition: one over the side's area)."""
    return 1.0 / (TWO_PI * radius * length)


def cylinder_to_square(axial, angle, length):
    """Inverse of `square_to_cylinder` (definition)."""
    return axial / length, angle / TWO_PI
