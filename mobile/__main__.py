"""``python -m mobile``."""

from mobile.main import main

raise SystemExit(main())
