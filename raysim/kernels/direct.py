"""Direct light: from a point of a lamp tube to a surface point, by one shadow ray.

Source: next-event estimation, Veach, "Robust Monte Carlo Methods for Light Transport Simulation"
(1997), chapter 8.
"""

import math

from raysim.kernels.compile import kernel
from raysim.kernels.lattice import STEP_0, STEP_1, stepped
from raysim.kernels.records import AXIS_X, AXIS_Y, AXIS_Z, LENGTH, RADIUS, START_X, START_Y, START_Z
from raysim.kernels.sampling import square_to_seen_cylinder
from raysim.kernels.traverse import ANY, nearest_hit
from raysim.kernels.vectors import dot


@kernel
def choice_of_tubes(tubes, exitance, x, y, z, nx, ny, nz, choice):
    """Fill `choice` with weights of the tubes as seen from a surface point; returns their sum.

    A weight is zero only where no part of the tube is above the surface's horizon; otherwise it
    follows exitance times cosine over distance, a guess that steers the effort and cannot bias.
    """
    total = 0.0
    for i in range(tubes.shape[0]):
        px, py, pz = tubes[i, START_X] - x, tubes[i, START_Y] - y, tubes[i, START_Z] - z
        height = dot(px, py, pz, nx, ny, nz)
        rise = tubes[i, LENGTH] * dot(
            tubes[i, AXIS_X], tubes[i, AXIS_Y], tubes[i, AXIS_Z], nx, ny, nz
        )
        above = max(height, height + rise) + tubes[i, RADIUS]
        if above <= 0.0:
            choice[i] = 0.0
            continue
        along = -dot(px, py, pz, tubes[i, AXIS_X], tubes[i, AXIS_Y], tubes[i, AXIS_Z])
        along = min(max(along, 0.0), tubes[i, LENGTH])
        qx, qy, qz = (
            px + along * tubes[i, AXIS_X],
            py + along * tubes[i, AXIS_Y],
            pz + along * tubes[i, AXIS_Z],
        )
        choice[i] = exitance[i] * tubes[i, RADIUS] * above / (qx * qx + qy * qy + qz * qz)
        total += choice[i]
    return total


@kernel
def chosen_tube(choice, total, u):
    """Number of the tube that the uniform number u picks, and its probability."""
    mark = u * total
    picked = -1
    for i in range(choice.shape[0]):
        if choice[i] > 0.0:
            picked = i
            if mark < choice[i]:
                break
            mark -= choice[i]
    return picked, choice[picked] / total


@kernel
def seen_tube_point(tubes, i, x, y, z, u, v):
    """Point (m) and normal on the part of tube `i` seen from (x, y, z), and its density per m2.

    A density of zero says that no part of the mantle can be seen (the point lies beyond an end).
    """
    wx, wy, wz, radius = tubes[i, AXIS_X], tubes[i, AXIS_Y], tubes[i, AXIS_Z], tubes[i, RADIUS]
    px, py, pz = x - tubes[i, START_X], y - tubes[i, START_Y], z - tubes[i, START_Z]
    axial0 = px * wx + py * wy + pz * wz
    px, py, pz = px - axial0 * wx, py - axial0 * wy, pz - axial0 * wz
    distance = math.sqrt(px * px + py * py + pz * pz)
    if distance <= radius:
        return x, y, z, wx, wy, wz, 0.0
    axial, cosine, sine, density = square_to_seen_cylinder(
        u, v, axial0, distance, radius, tubes[i, LENGTH]
    )
    # Frame about the axis whose first vector points to the viewer.
    px, py, pz = px / distance, py / distance, pz / distance
    bx, by, bz = wy * pz - wz * py, wz * px - wx * pz, wx * py - wy * px
    mx, my, mz = cosine * px + sine * bx, cosine * py + sine * by, cosine * pz + sine * bz
    return (
        tubes[i, START_X] + axial * wx + radius * mx,
        tubes[i, START_Y] + axial * wy + radius * my,
        tubes[i, START_Z] + axial * wz + radius * mz,
        mx,
        my,
        mz,
        density,
    )


@kernel
def direct_irradiance(
    nodes, blocks, tubes, solid, triangles, exitance, x, y, z, nx, ny, nz, start,
    u0, u1, u2, total, choice, stack, distances,
):  # fmt: skip
    """Irradiance (W/m2) at a surface point from one sampled point of one lamp tube.

    Returns the estimate, the tube it comes from, and the number of shadow rays (0 or 1). `start`
    is the primitive that the point lies on, `solid` the tubes that are in the way, `choice` and
    `total` are weights of the tubes and their sum, as of `choice_of_tubes`.
    """
    if total <= 0.0:
        return 0.0, 0, 0
    tube, probability = chosen_tube(choice, total, u0)
    qx, qy, qz, mx, my, mz, density = seen_tube_point(tubes, tube, x, y, z, u1, u2)
    if density <= 0.0:
        return 0.0, 0, 0
    dx, dy, dz = qx - x, qy - y, qz - z
    distance = math.sqrt(dx * dx + dy * dy + dz * dz)
    dx, dy, dz = dx / distance, dy / distance, dz / distance
    arriving = dot(dx, dy, dz, nx, ny, nz)
    leaving = -dot(dx, dy, dz, mx, my, mz)
    if arriving <= 0.0 or leaving <= 0.0:
        return 0.0, 0, 0
    target = triangles + tube
    _, hit = nearest_hit(
        nodes, blocks, solid, triangles, x, y, z, dx, dy, dz,
        distance, start, target, ANY, stack, distances,
    )  # fmt: skip
    if hit >= 0:
        return 0.0, 0, 1
    radiance = exitance[tube] / math.pi
    estimate = radiance * arriving * leaving / (distance * distance * density * probability)
    return estimate, tube, 1


@kernel(inlined=True)
def light_of_lamps(
    geometry, x, y, z, nx, ny, nz, start, points, u0, u1, u2, weight, scores, scratch
):  # fmt: skip
    """Add the direct light of some `points` of lamp tubes to `scores`; returns the rays traced.

    The points are spread evenly over the tubes, each uniform by itself. `weight` (cases,),
    `scores` (lamps, cases) W/m2, `scratch` (stack, distances, choice); the rest as in
    `direct_irradiance`.
    """
    stack, distances, choice = scratch
    tubes, triangles = geometry.tubes, geometry.normals.shape[0]
    rays = 0
    total = choice_of_tubes(tubes, geometry.tube_exitance, x, y, z, nx, ny, nz, choice)
    for point in range(points):
        value, tube, shadow = direct_irradiance(
            geometry.nodes, geometry.blocks, tubes, geometry.solid, triangles,
            geometry.tube_exitance,
            x, y, z, nx, ny, nz, start,
            (point + u0) / points, stepped(u1, point, STEP_0), stepped(u2, point, STEP_1),
            total, choice, stack, distances,
        )  # fmt: skip
        if value > 0.0:
            lamp = geometry.tube_lamp[tube]
            for case in range(weight.shape[0]):
                scores[lamp, case] += value / points * weight[case]
        rays += shadow
    return rays
