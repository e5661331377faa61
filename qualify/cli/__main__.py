"""``python -m qualify.cli`` is the command ``qualify``."""

import sys

from qualify.cli.main import main

sys.exit(main())
