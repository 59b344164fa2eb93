"""Samplers: from the unit square to a shape.

Samplers take uniform numbers as arguments and draw none, so that they stay pure and invertible;
the tests hold each against its density and its inverse.
"""

import math

from raysim.kernels.compile import kernel

TWO_PI = 2.0 * math.pi


@kernel
def square_to_cosine_hemisphere(u, v):
    """Direction about +z with density cos(theta)/pi (Lambert's law).

    Source: Malley's method, e.g. Pharr, Jakob, Humphreys, "Physically Based Rendering", 13.6.3.
    """
    radius = math.sqrt(u)
    angle = TWO_PI * v
    return radius * math.cos(angle), radius * math.sin(angle), math.sqrt(1.0 - u)


@kernel
def square_to_triangle(u, v):
    """Barycentric weights of the second and third corner, uniform over a triangle's area.

    Source: Turk, "Generating random points in triangles", Graphics Gems (1990).
    """
    root = math.sqrt(u)
    return root * (1.0 - v), root * v


@kernel
def square_to_cylinder(u, v, length):
    """Axial position (m) and angle (rad) uniform over the side of a cylinder (definition)."""
    return u * length, TWO_PI * v


@kernel
def square_to_seen_cylinder(u, v, axial0, distance, radius, length):
    """Point on the part of a cylinder's side that a viewer outside of it can see.

    Both laws follow what a small face that looks at the cylinder receives from it, and need no
    more than square roots: across, the density goes with the cosine of the angle; along, with the
    cube of the cosine under which the line of that angle is seen, so that the sine is uniform.

    Parameters
    ----------
    u, v : float
        Uniform numbers.
    axial0 : float
        Viewer's axial coordinate along the cylinder, m, measured from its first end.
    distance : float
        Viewer's distance from the axis, m; larger than `radius`.
    radius, length : float
        Of the cylinder, m.

    Returns
    -------
    axial, cosine, sine, density : float
        Axial position (m), cosine and sine of the angle from the direction towards the viewer, and
        probability per m2 of cylinder surface.

    Source: inversion of the two laws (definition); the arc in view is acos(r/D) to either side.
    """
    widest = math.sqrt((distance - radius) * (distance + radius)) / distance
    sine = (2.0 * v - 1.0) * widest
    cosine = math.sqrt(1.0 - sine * sine)
    across2 = distance * distance + radius * radius - 2.0 * distance * radius * cosine
    across = math.sqrt(across2)
    beyond = length - axial0
    low = -axial0 / math.sqrt(across2 + axial0 * axial0)
    high = beyond / math.sqrt(across2 + beyond * beyond)
    tilt = low + u * (high - low)
    upright2 = (1.0 - tilt) * (1.0 + tilt)
    upright = math.sqrt(upright2)
    along = upright2 * upright / (across * (high - low))
    axial = axial0 + across * tilt / upright
    return axial, cosine, sine, along * cosine / (2.0 * widest * radius)
