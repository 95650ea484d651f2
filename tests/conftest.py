"""Fixtures that several tests share."""

import os
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
SCANS = ROOT.parent / "shared" / "scans"

# Results must not hang on what an earlier run left in the user's cache.
os.environ.setdefault("XDG_CACHE_HOME", str(ROOT / ".pytest_cache" / "user-cache"))


@pytest.fixture(scope="session")
def scans() -> Path:
    """Give the folder of scans made by others, or skip where it is absent."""
    if not SCANS.is_dir():
        pytest.skip("the folder ../shared/scans with scans by others is not here")
    return SCANS
