"""``python -m mobile``."""

import sys
from importlib.util import find_spec

if find_spec("kivy") is None:
    sys.exit("the app needs Kivy: in this folder, pip install '.[app]' (Kivy has ready-made packages for Python 3.11 to 3.13)")

from mobile.main import main

raise SystemExit(main())
