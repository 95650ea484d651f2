"""Do once what compiles on first use, so that set-up waits for it and no command does.

What is compiled is kept beside the code, or in the user's cache where that is write-protected.
"""

import tempfile
from pathlib import Path

from plumbstone.meshes.closing.scans import closed_scan
from plumbstone.meshes.shapes.primitives import boulder
from plumbstone.meshes.writing import ply_bytes
from plumbstone.volumes.layout import make_plan
from plumbstone.volumes.report import report_of
from plumbstone.volumes.scape.scape import read_scape

ROOM = Path(__file__).parent.parent / "cli" / "reading-room.toml"

plan = make_plan(read_scape(ROOM), spacing=0.008)
report_of(plan)
stone = boulder((0.12, 0.1, 0.09), 4, subdivisions=3)
seen = stone.vertices[stone.faces].mean(axis=1)[:, 2] > stone.vertices[:, 2].min() + 0.02
with tempfile.TemporaryDirectory() as folder:
    scan = Path(folder, "open.ply")
    scan.write_bytes(ply_bytes(stone.vertices, stone.faces[seen]))
    closed_scan(scan)
