"""The demo set on the phone: the very recording that ``meterlink demo`` plays, through the same reader, library and tables.

It runs on the worker thread in an event loop of its own, as fast as it goes, and is marked as simulated by a tag.
"""

from __future__ import annotations

import asyncio
from typing import Any

from meterlink import demo
from meterlink.metering.driver import Metering
from meterlink.metering.outcome import Outcome, OutcomeKind
from meterlink.metering.session import Session
from meterlink.shared_files import shared_path
from mobile.desk import Desk, Shot

SIMULATED_TAG = "simulated"


def open_demo(desk: Desk) -> Shot:
    """Make the demo set anew, meter it from its recording, and use it."""
    data = demo.script()
    session = demo.build(desk.library, data, desk.now)
    asyncio.run(_play(session, data["steps"]))
    desk.use(session.setup.id)
    return desk.revise_setup(tags=(*session.setup.tags, SIMULATED_TAG))


async def _play(session: Session, steps: list[dict[str, Any]]) -> None:
    player = demo.Player(session, steps, lambda _text: None)

    def on_outcome(outcome: Outcome) -> None:
        if outcome.kind == OutcomeKind.LOGGED and session.walk.done:
            player.next_walk()

    player.next_walk()
    metering = Metering(session, f"file:{shared_path(*demo.RECORDING)}?speed=max", on_outcome=on_outcome)
    try:
        await metering.open()
        await metering.walked()
    finally:
        await metering.close()
