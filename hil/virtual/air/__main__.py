"""Runs the process."""

import asyncio

from hil.virtual.air.air import main

asyncio.run(main())
