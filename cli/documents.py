"""Reports as JSON documents: keys carry their unit, uncertain figures are ranges."""

import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from typing import Any

from plumbstone.cli.wording.findings import finding_words
from plumbstone.cli.wording.units import Units
from plumbstone.meshes.ranges import Range
from plumbstone.meshes.telling import metric
from plumbstone.volumes.figures import Report
from plumbstone.volumes.findings import Finding

FLOOR_CAUTION = (
    "Masses and pressure are for the stand maker, local code and a licensed engineer to judge; "
    "this is no approval of a stand or a floor."
)
CAUTIONS = (
    FLOOR_CAUTION,
    "Lift stones close to the body and not alone when heavy; set them on pads, never drop "
    "them on glass; the maker of the tank says what its panes may carry.",
    "Unplug everything electric before hands go into the water; keep drip loops.",
    "Use only wood that is untreated, unpainted and fit for aquariums.",
)
# End of an SI name → end of the key that people read, and the SI size of its unit.
UNITS = {
    "m3": ("l", 1e-3),
    "m2": ("cm2", 1e-4),
    "m": ("cm", 1e-2),
    "pa": ("kpa", 1e3),
    "deg": ("degrees", 1.0),
}
RESULTS = (  # files of a plan, in the order in which they are made
    "plan.json", "shopping.csv", "build-sheet.html", "plan.png", "front.png", "section.png",
    "drawings.pdf", "template.pdf", "scape.glb",
)  # fmt: skip
SMALL = {"mm": 1e-3, "g": 1e-3}


def plan_document(report: Report) -> dict[str, Any]:
    """Give a whole report as the document that `plan` writes and prints."""
    document: dict[str, Any] = document_of(report)
    return {**document, "cautions": list(CAUTIONS)}


def document_of(result: Any) -> Any:
    """Give a frozen result as plain data for JSON.

    Each field's name ends with its SI unit; the key ends with the unit in which it is given, so
    `poured_m3` becomes `poured_l`. Metadata ``{"unit": "mm"}`` or ``"g"`` asks for a small one.
    """
    if isinstance(result, Finding):
        return _finding(result)
    if isinstance(result, Range):
        return {name: document_of(getattr(result, name)) for name in ("low", "mid", "high")}
    if is_dataclass(result):
        document: dict[str, Any] = {}
        for f in fields(result):
            value = getattr(result, f.name)
            if f.metadata.get("unsaid") or (value is None and f.metadata.get("if any")):
                continue
            if f.metadata.get("open"):
                value = tuple(map(metric, value))
            if f.metadata.get("flat"):
                document.update(document_of(value))
            else:
                document.update([_keyed(f.name, value, f.metadata.get("unit"))])
        return document
    if isinstance(result, Mapping):
        return {str(key): document_of(value) for key, value in result.items()}
    if isinstance(result, tuple | list):
        return [document_of(value) for value in result]
    if isinstance(result, float) and not math.isfinite(result):
        return None
    return result.value if isinstance(result, Enum) else result


def keyed(numbers: Mapping[str, float | Range]) -> dict[str, Any]:
    """Give named figures [SI] with keys and units for people."""
    return dict(_keyed(name, value, None) for name, value in numbers.items())


def _keyed(name: str, value: Any, small: str | None) -> tuple[str, Any]:
    """Turn the SI name and value of one figure into those of the document."""
    stem, _, ending = name.rpartition("_")
    if not stem or stem.endswith("_per") or (ending not in UNITS and small is None):
        return name, document_of(value)
    unit, size = (small, SMALL[small]) if small else UNITS[ending]
    return f"{stem}_{unit}", _scaled(value, size)


def _scaled(value: Any, size: float) -> Any:
    """Divide figures by the size of their unit, however they are nested."""
    if isinstance(value, Range):
        return document_of(Range(value.low / size, value.mid / size, value.high / size))
    if isinstance(value, Mapping):
        return {key: _scaled(part, size) for key, part in value.items()}
    if isinstance(value, tuple | list):
        return [_scaled(part, size) for part in value]
    return document_of(value / size) if isinstance(value, int | float) else value


def _finding(finding: Finding) -> dict[str, Any]:
    """Give one finding with its figures and its words."""
    return {
        "kind": finding.kind.value,
        "severity": finding.severity.name.lower(),
        "about": list(finding.about),
        "where": finding.where,
        "how": metric(finding.how),
        "cure": finding.cure,
        **keyed(finding.numbers),
        "text": finding_words(finding, Units.METRIC),
    }
