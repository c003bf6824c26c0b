"""POP and BLOCK belong together: a pop whose block is lost or damaged is told, and none is told twice.  Pure logic."""

from __future__ import annotations

from collections import deque
from zlib import crc32

from meterlink.records import PopNotice, WaveBlock

BLOCK_WAIT_S = 3.0
"""A block of the longest legal size takes 2.7 s at 250,000 baud; one of 1 KB takes 0.05 s."""
DAMAGE_GRACE_S = 0.5
"""After a damaged frame the block is waited for so long: the damage may have hit another message."""
REMEMBERED = 16


class PopBook:
    """Pairs notices with blocks for one sensor."""

    def __init__(self) -> None:
        self.waiting: PopNotice | None = None
        """The pop whose block is on its way."""
        self._damaged_at_s: float | None = None
        self._done: deque[tuple[int, int]] = deque(maxlen=REMEMBERED)
        self._missed: deque[int] = deque(maxlen=2)

    def restart(self) -> None:
        """The sensor counts its pops anew."""
        self._done.clear()
        self._missed.clear()

    def notice(self, pop: PopNotice) -> list[PopNotice]:
        """Take a notice; return those whose block can no longer come."""
        waiting = self.waiting
        if waiting is not None and waiting.pop == pop.pop:
            return []
        if any(number == pop.pop for number, _ in self._done) and waiting is None:
            # Its block is here already: a link that doubles what it carries.
            return []
        self.waiting, self._damaged_at_s = pop, None
        return self._missing(waiting)

    def block(self, block: WaveBlock) -> tuple[bool, list[PopNotice]]:
        """Take a block; return whether it is news, and the notices whose block can no longer come."""
        key = (block.pop, crc32(block.data))
        if key in self._done or block.pop in self._missed:
            return False, []
        self._done.append(key)
        waiting, self.waiting, self._damaged_at_s = self.waiting, None, None
        return True, self._missing(waiting if waiting is not None and waiting.pop != block.pop else None)

    def damage(self, at_s: float) -> None:
        """A frame was damaged while a block was expected: it may have been that block."""
        if self.waiting is not None and self._damaged_at_s is None:
            self._damaged_at_s = at_s

    def due(self, now_s: float) -> list[PopNotice]:
        """Return the notice whose block is overdue."""
        waiting = self.waiting
        if waiting is None:
            return []
        late = now_s - waiting.at_s >= BLOCK_WAIT_S
        hurt = self._damaged_at_s is not None and now_s - self._damaged_at_s >= DAMAGE_GRACE_S
        if not late and not hurt:
            return []
        return self.give_up()

    def give_up(self) -> list[PopNotice]:
        """The link is gone: what is waited for will not come."""
        waiting, self.waiting, self._damaged_at_s = self.waiting, None, None
        return self._missing(waiting)

    def _missing(self, pop: PopNotice | None) -> list[PopNotice]:
        if pop is None:
            return []
        # Should the block come after all, the pop has been told as lost and must not count a second time.
        self._missed.append(pop.pop)
        return [pop]
