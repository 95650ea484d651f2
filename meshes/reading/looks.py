"""What a scan looks like: its colours at points spread over it, of its texture or its corners."""

import io

import numpy as np

from plumbstone.meshes.piece import Floats, Indices
from plumbstone.meshes.reading.parts import Parsed, Part

SPOTS = 20_000  # of one part of a file
# Linear sRGB to XYZ over the white of D65: IEC 61966-2-1, from memory.
TO_XYZ = np.array([[0.4339, 0.3762, 0.1899], [0.2126, 0.7152, 0.0722], [0.0178, 0.1095, 0.8727]])


def spots_of(parsed: Parsed) -> tuple[Floats, Floats]:
    """Places on a scan and their colours.

    Of textures, or of colours of corners: places (k, 3) in the file's unit, none where it has no
    colours or none that can be read, and CIE L*a*b* (k, 3).
    """
    places, colours = [np.empty((0, 3))], [np.empty((0, 3))]
    for part in parsed.parts:
        count = len(part.faces)
        chosen = np.random.default_rng(13).choice(count, min(SPOTS, count), replace=False)
        found = _seen_at(part, chosen)
        if found is not None:
            places.append(part.vertices[part.faces[chosen]].mean(axis=1))
            colours.append(lab(found))
    return np.concatenate(places), np.concatenate(colours)


def _seen_at(part: Part, chosen: Indices) -> Floats | None:
    """Red, green and blue of some faces of a part, 0 to 255, (k, 3); None without colours."""
    if part.colours is not None:
        return part.colours[part.faces[chosen]].mean(axis=1)
    if part.uv is None or part.image is None:
        return None
    from PIL import Image

    try:
        picture = np.asarray(Image.open(io.BytesIO(part.image)).convert("RGB"))
    except Exception:  # hostile pictures raise anything; the form counts without them
        return None
    high, wide = picture.shape[:2]
    u, v = np.nan_to_num(part.uv[chosen].mean(axis=1)).T % 1.0
    row, column = ((1 - v) * high).astype(int), (u * wide).astype(int)
    return picture[np.minimum(row, high - 1), np.minimum(column, wide - 1)].astype(float)


def lab(colours: Floats) -> Floats:
    """CIE 1976 L*a*b* [-] of sRGB colours, 0 to 255, (n, 3)."""
    share = colours / 255
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    xyz = linear @ TO_XYZ.T
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz * (29 / 6) ** 2 / 3 + 4 / 29)
    x, y, z = f.T
    return np.column_stack([116 * y - 16, 500 * (x - y), 200 * (y - z)])
