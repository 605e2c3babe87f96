"""Runs the process."""

import sys

from hil.virtual.board.board import main

sys.exit(main())
