"""Work that takes its time: on one thread, in the order in which it was asked for; what went wrong is said.

Part of the app (``main``).
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from kivy.core.window import Window

from meterlink.errors import MeterlinkError
from mobile import texts
from mobile.lights_state import changed_text

log = logging.getLogger("mobile")


class Work:
    """The worker thread, the tasks under way, and what is said of them."""

    desk: Any
    frame: Any
    last_touch: tuple[float, float]
    refresh: Callable[[], None]
    prepare: Callable[[], Any]

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.failures: list[BaseException] = []
        """What nobody expected: tests raise it again."""
        self._worker = ThreadPoolExecutor(1, thread_name_prefix="desk")
        self._tasks: set[asyncio.Task[Any]] = set()

    def do(
        self, work: Callable[..., Any], *args: Any, done: Callable[[Any], None] | None = None, field: Any = None, **options: Any
    ) -> None:
        """Run ``work`` on the worker thread, then show the result; an error is said in ``field`` or at the finger."""

        async def run() -> None:
            at = self.last_touch
            try:
                result = await self.run(work, *args, **options)
            except MeterlinkError as error:
                self.say_error(error, field, at)
                self.refresh()
                return
            if field is not None:
                field.error = ""
            self.refresh()
            if done is not None:
                done(result)
            await self.prepare()

        self.spawn(run())

    async def run(self, work: Callable[..., Any], *args: Any, **options: Any) -> Any:
        """Run on the worker thread, after everything that was asked for before."""
        return await asyncio.get_running_loop().run_in_executor(self._worker, lambda: work(*args, **options))

    def spawn(self, work: Any) -> None:
        """Run a coroutine; what it raises unexpectedly is kept, logged and said, never swallowed."""
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._finished)

    def _finished(self, task: asyncio.Task[Any]) -> None:
        self._tasks.discard(task)
        error = None if task.cancelled() else task.exception()
        if error is None:
            return
        if isinstance(error, MeterlinkError):
            self.say_error(error)
            return
        self.failures.append(error)
        log.error("unexpected", exc_info=error)
        self.note(texts.t("app.unexpected", what=type(error).__name__))

    def say_error(self, error: MeterlinkError, field: Any = None, at: tuple[float, float] | None = None) -> None:
        """Say an error in one sentence: under the field that caused it, else at the finger."""
        # A file's name need not be UTF-8, what is drawn must be.
        sentence = str(error).encode("utf-8", "replace").decode("utf-8")
        if field is not None:
            field.refuse(sentence)
        else:
            self.note(sentence, at)

    def note(self, sentence: str, at: tuple[float, float] | None = None) -> None:
        """Show one sentence beside the finger."""
        x, y = at or self.last_touch
        self.frame.ids.note.say(sentence, x, y, Window.width, Window.height)

    def change(self, light_id: str, work: Callable[..., Any], *args: Any, **how: Any) -> None:
        """Change a light, and offer to take that back.  ``how`` is what ``do`` takes."""
        before = self.desk.shot.view.state(light_id) if self.desk.shot.view else None
        after_that = how.pop("done", None)

        def done(result: Any) -> None:
            now = self.desk.shot.view.state(light_id) if self.desk.shot.view else None
            if before is not None and now is not None and (before.light, before.placement) != (now.light, now.placement):
                sentence = changed_text(before, now, self.desk.prefs.imperial)
                self.offer_undo(sentence, lambda: self.do(self.desk.put_back, before))
            if after_that is not None:
                after_that(result)

        self.do(work, self.desk, light_id, *args, done=done, **how)

    def offer_undo(self, sentence: str, undo: Callable[[], None]) -> None:
        """Say what was changed, with a tap that takes it back."""
        self.frame.ids.undo.offer(sentence, undo)
