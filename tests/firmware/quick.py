"""``meterlink`` at a chip whose time runs faster than ours: what it waits for in the chip's time is waited for as much shorter."""

from __future__ import annotations

import sys

from meterlink.cli.main import main
from meterlink.metering import calibrating
from meterlink.sensor.measuring import sensor

FASTER = 2.0
"""At least, on a machine that is not busy."""

if __name__ == "__main__":
    calibrating.STEADY_S /= FASTER
    sensor.SECOND_FLASH_S /= FASTER
    sys.exit(main(sys.argv[1:]))
