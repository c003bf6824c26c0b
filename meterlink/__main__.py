"""``python -m meterlink`` is the command ``meterlink``."""

from meterlink.cli.main import main

if __name__ == "__main__":
    raise SystemExit(main())
