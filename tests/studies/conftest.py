"""Shared helpers of other folders of tests."""

import sys
from pathlib import Path

for name in ("physics", "scene", "cli"):
    sys.path.insert(0, str(Path(__file__).parents[1] / name))
