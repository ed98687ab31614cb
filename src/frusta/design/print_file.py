"""Bodies as files that a slicer opens: 3MF (with unit, name and notes) and binary STL, in millimetres."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from frusta.design.solid import Solid
from frusta.errors import ParameterError

_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>\n'
)
_LINKS = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Target="/3D/3dmodel.model" Id="rel0" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>\n'
)
_MODEL = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
_WHEN = (1980, 1, 1, 0, 0, 0)


def print_file(solid: Solid, suffix: str, name: str, notes: Mapping[str, str] | None = None) -> bytes:
    """Return a body as a file, by the ending of its name.

    Parameters
    ----------
    solid : Solid
        Closed.
    suffix : str
        ".3mf" or ".stl".
    name : str
    notes : mapping of str to str, optional
        Recipe and the like; a 3MF keeps them, an STL has no place for them.

    Raises
    ------
    ParameterError
        If the ending is another, or the surface is not closed.
    """
    if not solid.closed:
        raise ParameterError("the surface of a printed body must be closed (this one has open edges)")
    if suffix.lower() == ".3mf":
        return threemf_bytes(solid, name, notes or {})
    if suffix.lower() == ".stl":
        return stl_bytes(solid, name)
    raise ParameterError(f"a print file's name must end in .3mf or .stl (got {suffix or 'no ending'})")


def stl_bytes(solid: Solid, name: str) -> bytes:
    """Return binary STL, millimetres."""
    corners = (1e3 * solid.vertices_m[solid.faces]).astype("<f4")
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    record = np.zeros(len(corners), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    record["normal"] = normal / np.where(length > 0.0, length, 1.0)
    record["corners"] = corners
    header = f"{name}, millimetres".encode("ascii", "replace")[:80].ljust(80)
    return header + np.uint32(len(corners)).tobytes() + record.tobytes()


def threemf_bytes(solid: Solid, name: str, notes: Mapping[str, str]) -> bytes:
    """Return 3MF, millimetres; the same body gives the same bytes.

    References
    ----------
    3MF Core Specification 1.x, from memory.
    """
    points = "".join(f'<vertex x="{x:.5f}" y="{y:.5f}" z="{z:.5f}"/>' for x, y, z in (1e3 * solid.vertices_m).tolist())
    faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in solid.faces.tolist())
    said = "; ".join(f"{key}: {value}" for key, value in notes.items())
    model = (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<model unit="millimeter" xml:lang="en" xmlns="{_MODEL}">'
        f'<metadata name="Title">{escape(name)}</metadata><metadata name="Description">{escape(said)}</metadata>'
        f'<resources><object id="1" type="model" name={quoteattr(name)}>'
        f"<mesh><vertices>{points}</vertices><triangles>{faces}</triangles></mesh></object></resources>"
        '<build><item objectid="1"/></build></model>\n'
    )
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as package:
        for path, text in (("[Content_Types].xml", _TYPES), ("_rels/.rels", _LINKS), ("3D/3dmodel.model", model)):
            entry = zipfile.ZipInfo(path, _WHEN)
            entry.compress_type = zipfile.ZIP_DEFLATED
            package.writestr(entry, text)
    return file.getvalue()
