"""The benchmarks find each other, and `peers`, as the scripts do."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
