"""Import this before anything of `support`, the package that benchmarks and tests share: it lies beside the tests."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))
