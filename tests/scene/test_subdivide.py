"""Splitting to an edge length: nothing torn, nothing lost, no corner in the middle of an edge."""

import numpy as np
import pytest
import trimesh

from raysim.scene.mesh.subdivide import split_to_edge

SHAPES = {
    "box": trimesh.creation.box([3.0, 2.0, 1.0]),
    "sphere": trimesh.creation.icosphere(subdivisions=2),
    "sliver": trimesh.Trimesh([[0, 0, 0], [10, 0, 0], [5, 0.01, 0]], [[0, 1, 2]], process=False),
    "ring": trimesh.creation.annulus(r_min=0.5, r_max=1.0, height=2.0, sections=9),
}


def edges_of(faces):
    """Sorted edges (3 * faces, 2)."""
    return np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)


def corners_of(triangle):
    """Corners of a triangle as they run, whichever comes first."""
    places = list(map(tuple, triangle.tolist()))
    first = places.index(min(places))
    return (*places[first:], *places[:first])


def area_vectors(vertices, faces):
    """Half the cross product of two edges of each face, (faces, 3)."""
    a, b, c = vertices[faces].transpose(1, 0, 2)
    return 0.5 * np.cross(b - a, c - a)


@pytest.mark.parametrize("longest", [2.0, 0.7, 0.31])
@pytest.mark.parametrize("shape", SHAPES)
def test_splitting_keeps_the_surface(shape, longest):
    mesh = SHAPES[shape]
    corners, whole_faces = np.array(mesh.vertices), np.array(mesh.faces)
    vertices, faces = split_to_edge(corners, whole_faces, longest)
    ends = vertices[edges_of(faces)]
    assert np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1).max() <= longest
    # Each face keeps its area and the way it faces, piece by piece, and is split as if alone.
    whole = area_vectors(corners, whole_faces)
    together = set()
    for number, face in enumerate(whole_faces):
        own = split_to_edge(corners, face[None], longest)
        pieces = area_vectors(*own)
        assert np.allclose(pieces.sum(axis=0), whole[number], atol=1e-12 * np.abs(whole).max())
        assert (pieces @ whole[number] > 0.0).all()
        together |= {corners_of(triangle) for triangle in own[0][own[1]]}
    assert together == {corners_of(triangle) for triangle in vertices[faces]}
    assert len(together) == len(faces)


@pytest.mark.parametrize("longest", [2.0, 0.7, 0.31])
@pytest.mark.parametrize("shape", ["box", "sphere", "ring"])
def test_a_closed_mesh_stays_closed_without_corners_inside_edges(shape, longest):
    mesh = SHAPES[shape]
    vertices, faces = split_to_edge(np.array(mesh.vertices), np.array(mesh.faces), longest)
    # Every edge has exactly two faces by corner number, without any welding by place: a corner
    # in the middle of a neighbour's edge would leave edges with one face.
    _, shared = np.unique(edges_of(faces), axis=0, return_counts=True)
    assert (shared == 2).all()
    assert len(np.unique(vertices, axis=0)) == len(vertices)
    split = trimesh.Trimesh(vertices, faces, process=False)
    assert split.is_watertight
    assert split.is_winding_consistent
    assert split.volume == pytest.approx(mesh.volume, rel=1e-12)
    assert split.euler_number == mesh.euler_number


def test_halving_takes_the_exact_middle_for_both_neighbours():
    square = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]], float) / 3.0
    vertices, faces = split_to_edge(square, np.array([[0, 1, 2], [0, 2, 3]]), 0.45)
    # Only the shared diagonal (0.4714) is too long: two faces become four, with one new corner.
    assert len(vertices) == 5
    assert np.array_equal(vertices[4], square[[0, 2]].mean(axis=0))
    assert len(faces) == 4
    assert (faces == 4).sum() == 4


def test_what_is_short_enough_is_left_alone():
    mesh = SHAPES["sphere"]
    vertices, faces = split_to_edge(np.array(mesh.vertices), np.array(mesh.faces), 1.0)
    assert np.array_equal(faces, mesh.faces)
    assert np.array_equal(vertices, mesh.vertices)


def test_an_edge_exactly_as_long_as_the_limit_is_not_split():
    corners = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0]], float)
    limit = float(np.sqrt(2.0))
    assert len(split_to_edge(corners, np.array([[0, 1, 2]]), limit)[1]) == 1
    assert len(split_to_edge(corners, np.array([[0, 1, 2]]), 1.0)[1]) == 2


def test_too_many_faces_are_refused():
    mesh = SHAPES["box"]
    with pytest.raises(ValueError, match="more than 1,000 faces"):
        split_to_edge(np.array(mesh.vertices), np.array(mesh.faces), 0.01, most_faces=1000)
