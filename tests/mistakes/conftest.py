"""Lets the tests here, and `benchmarks/mistakes.py`, share the catalogue's modules."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
