"""Names of pieces that could act on a page, in a table or in a drawing."""

import csv
import io
import json
from pathlib import Path

import pytest
import trimesh
from commands import type_in

HOSTILE = [
    "<script>alert(1)</script>", 'He said "stone" & \'rock\'', "=1+1", "🪨 moss <3 cm>", "אבן גדולה",
    "long " * 40, "$x_1$ & }} {{ 7*7",
]  # fmt: skip


def hostile_scape(folder: Path) -> None:
    parts = ['[tank]\ninside = ["90 cm", "40 cm", "40 cm"]\nglass = "8 mm"\n']
    for i, name in enumerate(HOSTILE):
        parts.append(
            f"[[piece]]\nname = {json.dumps(name, ensure_ascii=False)}\nmaterial = 'granite'\n"
            f"size = ['8 cm', '7 cm', '6 cm']\nat = ['{8 + 12 * i} cm', '20 cm']\n"
            + ("rests = 'bed'\n" if i % 2 else "")
        )
    parts.append(
        f"[[layer]]\nname = {json.dumps(HOSTILE[0])}\nmaterial = 'sand'\ndepth = '3 cm'\n"
        "bags = [{ holds = '10 kg', price = 9 }]\n"
    )
    (folder / "tank.toml").write_text("\n".join(parts), encoding="utf-8")


@pytest.mark.usefixtures("unprinted")
def test_hostile_names_appear_as_text(tmp_path: Path) -> None:
    hostile_scape(tmp_path)
    done = type_in("plumbstone plan tank.toml --grid 8 --out out", tmp_path)
    assert done.returncode == 0, done.stderr
    page = (tmp_path / "out" / "build-sheet.html").read_text(encoding="utf-8")
    body = page[: page.index("<script type=")]
    assert "<script>alert" not in page
    assert "Press stones into the &lt;script&gt;" in body
    assert "&amp;lt;" not in body  # nothing is escaped twice
    assert "&amp;amp;" not in body
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in body
    assert "49" not in body.split("$x_1$")[1][:20]
    assert "אבן גדולה" in body
    rows = list(csv.reader(io.StringIO((tmp_path / "out" / "shopping.csv").read_text("utf-8"))))
    assert any(row[0] == "'=1+1" for row in rows)
    plan = json.loads((tmp_path / "out" / "plan.json").read_text("utf-8"))
    assert {piece["name"] for piece in plan["pieces"]} == set(HOSTILE)
    nodes = trimesh.load(tmp_path / "out" / "scape.glb").graph.nodes_geometry
    assert f"1 {HOSTILE[0]}" in nodes
