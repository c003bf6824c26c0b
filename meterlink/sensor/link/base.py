"""What every link offers: a narrow interface, so that nothing behind it knows where the bytes come from.

A link moves bytes and nothing else.  It has no idea of frames, does not retry and does not reconnect: that is
``reconnect``'s job.  All callbacks come on the event loop's thread.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple, Protocol

from meterlink.errors import LinkError

OnBytes = Callable[[bytes, float, str], None]
"""Called with the bytes, the monotonic host time in seconds at which they were taken from the system, and the
channel: ``""`` for a byte stream, else what named them, such as the characteristic ``2AFB``."""

OnLost = Callable[[LinkError], None]
"""Called once when an open link is gone.  Not called after ``close()``."""


def nobody(*_args: object) -> None:
    """Stand in for the callbacks of a closed link."""


CONNECTING, CONNECTED, WAITING, STOPPED = "connecting", "connected", "waiting", "stopped"


class LinkState(NamedTuple):
    """Where a link that keeps itself alive stands; each change is told once."""

    name: str
    """``connecting``, ``connected``, ``waiting`` (for the next attempt) or ``stopped``."""
    words: str
    """One sentence for a person."""
    url: str
    error: LinkError | None = None
    """Why it waits or stopped."""


OnLinkState = Callable[[LinkState], None]


class Link(Protocol):
    """One way to one sensor.  May be opened again after it was closed or lost."""

    url: str

    async def open(self, on_bytes: OnBytes, on_lost: OnLost) -> None:
        """Open the link.

        Raises LinkNotFound: there is no such port, address or file; LinkBusy: another program holds it; LinkError: it is there but
        cannot be used (permission, settings, ...).
        """
        ...

    async def write(self, data: bytes) -> None:
        """Send all of ``data``.  Raises ``LinkLost`` when the link is not open or breaks on the way."""
        ...

    async def close(self) -> None:
        """Close the link.  May be called at any time, also twice; ``on_lost`` is not called after it."""
        ...
