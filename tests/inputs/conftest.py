"""What tests of the inputs share."""

import sys
from pathlib import Path

# Tests are imported by their path: what they share in layer_files.py is found only so.
sys.path.insert(0, str(Path(__file__).parent))
