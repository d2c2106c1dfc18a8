"""`python -m pipelines` is the command `deckslab`."""

import sys

from pipelines.cli.main import main

sys.exit(main())
