"""The dose map as a mesh file that other programs open: VTK XML PolyData.

Written here, since to load a library for it takes longer than to write it. Source: "VTK XML
formats", docs.vtk.org; binary data, compressed by zlib, within the text (from memory).
"""

import base64
import zlib
from collections.abc import Iterable
from pathlib import Path
from xml.sax.saxutils import quoteattr

import numpy as np

from raysim.base.cases import CAUTIOUS
from raysim.base.units import to_mJ_cm2, to_mm, to_mW_cm2
from raysim.dose.result import Result
from raysim.scene.triangles import SIDES

TYPES = {"f4": "Float32", "i4": "Int32", "i8": "Int64", "u1": "UInt8"}
HEAD = (
    '<?xml version="1.0"?>\n<VTKFile type="PolyData" version="1.0" byte_order="LittleEndian" '
    'header_type="UInt64" compressor="vtkZLibDataCompressor">\n<PolyData>\n'
)


def write_dose_map(result: Result, path: Path, case: str = CAUTIOUS) -> None:
    """Write dose_map.vtp: every triangle of the scene (mm) with its irradiance and dose by side.

    Without a timer there is no array of doses.
    """
    triangles, chosen = result.triangles, result.cases[case]
    arrays = {
        "irradiance_{}_mW_cm2": to_mW_cm2(chosen.irradiance),
        "standard_error_{}_mW_cm2": to_mW_cm2(chosen.standard_error),
    }
    if np.isfinite(result.timer):
        arrays["dose_at_timer_{}_mJ_cm2"] = to_mJ_cm2(result.dose_at_timer(case))
    cells = {}
    for side, name in enumerate(SIDES):
        for words, values in arrays.items():
            cells[words.format(name)] = values[:, side].astype("f4")
        cells[f"judged_{name}"] = triangles.judged[:, side].astype("u1")
    cells["body"] = triangles.face_body.astype("i4")
    names = [body.name for body in triangles.bodies]
    with path.open("w", encoding="utf-8") as file:
        file.writelines(_lines(to_mm(triangles.corners).astype("f4"), cells, names))


def _lines(corners: np.ndarray, cells: dict[str, np.ndarray], names: list[str]) -> Iterable[str]:
    """The file, piece by piece: triangles (n, 3, 3), which share no points, and their arrays."""
    count = len(corners)
    yield f"{HEAD}<FieldData>\n{_texts('body_names', names)}</FieldData>\n"
    yield f'<Piece NumberOfPoints="{3 * count}" NumberOfPolys="{count}">\n<Points>\n'
    yield _array("Points", corners.reshape(-1, 3))
    yield "</Points>\n<Polys>\n"
    yield _array("connectivity", np.arange(3 * count, dtype="i8"))
    yield _array("offsets", np.arange(3, 3 * count + 1, 3, dtype="i8"))
    yield "</Polys>\n<CellData>\n"
    for name, values in cells.items():
        yield _array(name, values)
    yield "</CellData>\n</Piece>\n</PolyData>\n</VTKFile>\n"


def _array(name: str, values: np.ndarray) -> str:
    """Numbers as one compressed block; before it number and size of blocks, and the packed size."""
    data = np.ascontiguousarray(values, values.dtype.newbyteorder("<")).tobytes()
    packed = zlib.compress(data)
    header = np.array([1, len(data), 0, len(packed)], "<u8").tobytes()
    text = (base64.b64encode(header) + base64.b64encode(packed)).decode("ascii")
    wide = f' NumberOfComponents="{values.shape[1]}"' if values.ndim > 1 else ""
    kind = f'type="{TYPES[values.dtype.str[1:]]}" Name={quoteattr(name)}{wide}'
    return f'<DataArray {kind} format="binary">{text}</DataArray>\n'


def _texts(name: str, words: list[str]) -> str:
    """Words as numbers of letters, each word with a zero behind; the format has ASCII alone."""
    ascii_words = [word.encode("ascii", "xmlcharrefreplace") for word in words]
    codes = " ".join(str(code) for word in ascii_words for code in (*word, 0))
    return (
        f'<Array type="String" Name="{name}" NumberOfTuples="{len(words)}" format="ascii">'
        f"{codes}</Array>\n"
    )
