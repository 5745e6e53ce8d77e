"""``python -m telemetry.cli``, for running with interpreter options such as ``-X dev``."""

import sys

from telemetry.cli import main

if __name__ == "__main__":
    sys.exit(main())
