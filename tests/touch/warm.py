"""What the app imports and what opens no window: once, in the process that every phone of a run is forked from."""

from __future__ import annotations

from tests.touch.app_process import quiet

quiet()

import kivy.uix.boxlayout  # noqa: E402
import kivy.uix.label  # noqa: E402
import kivy.uix.scrollview  # noqa: E402, F401
import numpy  # noqa: E402, F401

import mobile.desk  # noqa: E402
import mobile.sensor_desk  # noqa: E402, F401
