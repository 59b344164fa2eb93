"""Lets these tests import the helpers that lie with the tests of physics."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "physics"))
