"""A mesh file that cannot be used."""

from raysim.base.fault_codes import Code


class MeshFault(ValueError):
    """A mesh file that cannot be used: what kind of fault, what is wrong, and how to mend it."""

    def __init__(self, code: Code, what: str, mend: str = "export the mesh again") -> None:
        super().__init__(what)
        self.code = code
        self.what = what
        self.mend = mend


class Misfit(ValueError):
    """A file that contradicts itself; the text continues a sentence that begins with "it"."""


def too_many_triangles(most: int) -> MeshFault:
    """The fault of a file with more triangles than a laptop can trace."""
    what = f"holds more than {most:,} triangles"
    return MeshFault(Code.MESH_TOO_LARGE, what, "simplify the mesh")


def no_number() -> MeshFault:
    """The fault of a file with a word, or a decimal comma, in place of a number."""
    what = "has something else where a number should stand"
    return MeshFault(Code.MESH_BAD_NUMBER, what, "write numbers as 1.5; export the mesh again")
