"""A message bus of our own: a real dbus-daemon on a socket in a temporary folder, playing the system's bus."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from pathlib import Path

_CONFIG = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <type>system</type>
  <listen>unix:path={socket}</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow user="*"/>
    <allow own="*"/>
    <allow send_type="method_call"/>
    <allow send_type="signal"/>
    <allow send_requested_reply="true" send_type="method_return"/>
    <allow send_requested_reply="true" send_type="error"/>
    <allow receive_type="method_call"/>
    <allow receive_type="method_return"/>
    <allow receive_type="error"/>
    <allow receive_type="signal"/>
    {extra}
  </policy>
</busconfig>
"""


def missing() -> str:
    """Return why there can be no bus here, ``""`` when there can."""
    if shutil.which("dbus-daemon") is None:
        return "dbus-daemon is missing: apt-get install dbus-daemon"
    return ""


class PrivateBus:
    """The daemon; ``address`` belongs into DBUS_SYSTEM_BUS_ADDRESS."""

    def __init__(self, deny: str = "") -> None:
        """Start it.  ``deny`` names a service that nobody may talk to (a user without permission)."""
        self._folder = Path(tempfile.mkdtemp(prefix="bus-"))
        socket = self._folder / "socket"
        extra = f'<deny send_destination="{deny}"/>' if deny else ""
        config = self._folder / "bus.conf"
        config.write_text(_CONFIG.format(socket=socket, extra=extra), "utf-8")
        self._process = subprocess.Popen(
            ["dbus-daemon", f"--config-file={config}", "--nofork", "--nopidfile", "--print-address=1"],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        assert self._process.stdout is not None
        # The daemon prints its address when it listens.
        self._process.stdout.readline()
        self.address = f"unix:path={socket}"

    def stop(self) -> None:
        """End the daemon: every connection to it breaks."""
        if self._process.poll() is None:
            self._process.terminate()
            self._process.wait(10)
        assert self._process.stdout is not None
        self._process.stdout.close()
        shutil.rmtree(self._folder, ignore_errors=True)
