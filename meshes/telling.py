"""How figures are told in notes on a mesh."""


def percent(share: float, digits: int = 0) -> str:
    """Word a share [-] in per cent: 0.914 is "91 %"."""
    return f"{share * 100:.{digits}f} %"


def litres(*volumes: float, joint: str = " and ") -> str:
    """Word volumes [m³] in litres, small ones in millilitres."""
    unit, per = ("L", 1e3) if max(volumes) >= 1e-4 else ("mL", 1e6)
    return joint.join(f"{volume * per:.2f}" for volume in volumes) + f" {unit}"
