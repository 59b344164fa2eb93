"""The table of surface models: what comes back at an angle, and which way the sharp part goes.

A surface sends back a share of what meets it, each case its own. `specular` of that goes the sharp
way of its model, the rest follows Lambert's law. A model is one file of kernels and one row of
`MODELS`.

Light that left the sharp way counts where it meets a lamp by chance; no shadow ray is sent for it.
So a model says only how to draw a direction, no density, but it must draw from the law itself, keep
above the face, and obey Helmholtz reciprocity: photons and backward paths draw alike.
"""

from typing import Any, NamedTuple

from raysim.kernels.compile import kernel
from raysim.kernels.fresnel import smooth_reflectance
from raysim.kernels.mirror import constant_reflectance, mirror_direction


class Model(NamedTuple):
    """A way to send light back.

    `reflectance(numbers, surface, cosine)` is the share that comes back, 0 to 1, or `FROM_TABLE`.
    `direction(numbers, surface, dx, dy, dz, nx, ny, nz, u, v)` is where the sharp part of light
    that travels along d goes, a unit vector; n is the unit normal on the side that was hit, u and v
    are uniform numbers. Row `surface` of `numbers` holds what the library gives it, see
    `Surfaces.numbers`.
    """

    name: str  # as rows of library/surfaces.toml give it: model = "..."
    reflectance: Any
    direction: Any


MODELS = (
    Model("mirror", constant_reflectance, mirror_direction),
    Model("fresnel", smooth_reflectance, mirror_direction),
)


def model_number(name: str) -> int:
    """Row of a model in the table, which is the `kind` of its surfaces (definition).

    Raises
    ------
    ValueError
        Where there is no such model.
    """
    names = [model.name for model in MODELS]
    if name not in names:
        raise ValueError(f'no surface model is called "{name}"; known: {", ".join(names)}')
    return names.index(name)


def _or_reflectance(number: int, own: Any, others: Any) -> Any:
    @kernel
    def reflectance(kind, numbers, surface, cosine):
        if kind == number:
            return own(numbers, surface, cosine)
        return others(kind, numbers, surface, cosine)

    return reflectance


def _or_direction(number: int, own: Any, others: Any) -> Any:
    @kernel
    def direction(kind, numbers, surface, dx, dy, dz, nx, ny, nz, u, v):
        if kind == number:
            return own(numbers, surface, dx, dy, dz, nx, ny, nz, u, v)
        return others(kind, numbers, surface, dx, dy, dz, nx, ny, nz, u, v)

    return direction


@kernel
def _first_reflectance(kind, numbers, surface, cosine):
    return constant_reflectance(numbers, surface, cosine)


@kernel
def _first_direction(kind, numbers, surface, dx, dy, dz, nx, ny, nz, u, v):
    return mirror_direction(numbers, surface, dx, dy, dz, nx, ny, nz, u, v)


# One kernel each, made of plain branches: the compiler sees no table. What a model shares with the
# first one costs no branch.
model_reflectance, sharp_direction = _first_reflectance, _first_direction
for _number, _model in enumerate(MODELS):
    if _model.reflectance is not MODELS[0].reflectance:
        model_reflectance = _or_reflectance(_number, _model.reflectance, model_reflectance)
    if _model.direction is not MODELS[0].direction:
        sharp_direction = _or_direction(_number, _model.direction, sharp_direction)
