"""The results folder of a plan: all of it appears at once, or nothing."""

import csv
import ctypes
import io
import json
import os
import shutil
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plumbstone.cli.files import WriteError, plain_cell
from plumbstone.cli.pictures.drawing import plan_figure, png_bytes, section_figure
from plumbstone.cli.pictures.scene import glb_bytes
from plumbstone.cli.sheet.build_sheet import build_sheet

if TYPE_CHECKING:
    from plumbstone.volumes.plan import Plan

MARK = "plan.json"  # a folder with this file is one of ours and may be replaced


def write_results(plan: "Plan", document: dict[str, Any], folder: Path) -> None:
    """Write everything about a plan into a folder.

    The folder is made beside its place under a temporary name and then renamed. An
    earlier results folder of that name is replaced as a whole.

    Raises
    ------
    WriteError
        If the place holds something else, or the disk refuses.
    """
    if folder.exists() and not (folder / MARK).is_file() and _has_content(folder):
        raise WriteError(folder, "it holds files that are no results of plumbstone")
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        _clear_stale(folder)
        prefix = f".{folder.name[:40]}-{os.getpid()}-"
        fresh = Path(tempfile.mkdtemp(prefix=prefix, dir=folder.parent))
    except OSError as error:
        raise WriteError(folder, error.strerror or str(error)) from None
    try:
        _fill(plan, document, fresh)
        fresh.chmod(0o755)
        _swap(fresh, folder)
    except OSError as error:
        raise WriteError(folder, error.strerror or str(error)) from None
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


def shopping_csv(document: dict[str, Any]) -> str:
    """Give the shopping list as CSV: one row for each size of bag and each stone."""
    stream = io.StringIO()
    writer = csv.writer(stream)
    writer.writerow(["what", "material", "count", "size", "unit", "price_each", "price"])
    for layer in document["layers"]:
        for bag in layer["bags"]:
            unit = "kg" if "holds_kg" in bag else "L"
            price = bag["price"]
            total = "" if price is None else f"{price * bag['count']:.2f}"
            writer.writerow(
                [plain_cell(layer["name"]), plain_cell(layer["material"]), bag["count"],
                 f"{bag.get('holds_kg', bag.get('holds_l')):.4g}", unit,
                 "" if price is None else f"{price:.2f}", total]
            )  # fmt: skip
    for piece in document["pieces"]:
        mass = f"{piece['mass_kg']['mid']:.2f}"
        writer.writerow(
            [plain_cell(piece["name"]), plain_cell(piece["material"]), 1, mass, "kg", "", ""]
        )
    return stream.getvalue()


def _fill(plan: "Plan", document: dict[str, Any], folder: Path) -> None:
    """Write each result into a folder of its own."""
    text = json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False)
    (folder / MARK).write_text(text, encoding="utf-8")
    (folder / "shopping.csv").write_text(shopping_csv(document), encoding="utf-8", newline="")
    (folder / "plan.png").write_bytes(png_bytes(plan_figure(plan)))
    (folder / "section.png").write_bytes(png_bytes(section_figure(plan)))
    (folder / "scape.glb").write_bytes(glb_bytes(plan))
    (folder / "build-sheet.html").write_text(build_sheet(plan, document), encoding="utf-8")


def _swap(fresh: Path, folder: Path) -> None:
    """Put a finished folder into its place; the earlier one ends up under the other name."""
    if _exchanged(fresh, folder):
        return
    try:
        fresh.rename(folder)
    except OSError:
        if not folder.exists():
            raise
    else:
        return
    old = Path(tempfile.mkdtemp(prefix=f".{folder.name[:40]}-{os.getpid()}-", dir=folder.parent))
    folder.rename(old / folder.name)
    try:
        fresh.rename(folder)
    except OSError:
        (old / folder.name).rename(folder)
        raise
    finally:
        shutil.rmtree(old, ignore_errors=True)


def _exchanged(one: Path, other: Path) -> bool:
    """Swap two folders in one step, where the system can; no moment is without a whole one."""
    if not other.is_dir():
        return False
    try:
        rename = ctypes.CDLL(None, use_errno=True).renameat2
    except (OSError, AttributeError):
        return False
    here, exchange = -100, 2  # AT_FDCWD and RENAME_EXCHANGE of linux/fs.h
    return bool(rename(here, os.fsencode(one), here, os.fsencode(other), exchange) == 0)


def _clear_stale(folder: Path) -> None:
    """Remove what a run that was killed left beside a results folder."""
    for left in folder.parent.glob(f".{folder.name[:40]}-*-*"):
        process = left.name.rsplit("-", 2)[1]
        if process.isdigit() and not _runs(int(process)):
            shutil.rmtree(left, ignore_errors=True)


def _runs(process: int) -> bool:
    """Tell whether a process is alive."""
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def _has_content(folder: Path) -> bool:
    """Tell whether something is there that is no empty folder."""
    return not folder.is_dir() or any(folder.iterdir())
