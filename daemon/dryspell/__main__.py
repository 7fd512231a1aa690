"""`python -m dryspell` is `dryspell`."""

import sys

from dryspell.cli import main

sys.exit(main())
