"""`python -m lossstats`, the same as the command `lossstats`."""

import sys

from lossstats.cli import main

sys.exit(main())
