"""Makes the files beside the tests importable, as a script would find them."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
