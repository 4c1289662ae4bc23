"""`python -m companion` is the command `companion`."""

import sys

from companion.command import main

sys.exit(main())
