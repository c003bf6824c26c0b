"""The sensor as a whole: obeys commands, decides what is sent next.  Knows no register and no line.

``turn`` is called again and again: it lets the capture see the converter's ring, listens, and sends.  From the moment
that the converter runs nothing here is allocated, so that nothing is ever collected while a flash burns.
"""

import time
from array import array

import capture as c
import messages as m
from frames import HEADER, MESSAGE, NOTHING, encode, frame_longest
from micropython import const

FIRMWARE = (0, 1, 0)
STEADY_HZ_START = const(10)
STEADY_HZ_MOST = const(50)
THRESHOLD_LEAST = const(512)
"""Raw x 65536: two codes of 8 bits, as in the other builds; less would be noise."""
ANSWERS = const(8)
"""Commands that may wait for their answer while a block is sent."""
HOUSEKEEPING_MS = const(60000)
LISTEN_MOST = const(64)
"""Bytes of a line in one turn: whoever floods it must not keep us from the ring."""
RANGER_MS = const(66)
"""Fifteen distances a second."""
RANGER_FIRST_LOOK_MS = const(36)
"""A measurement takes 33 ms."""
RANGER_LOOK_MS = const(4)
RANGER_LATE_MS = const(200)
_BODY_LEAST = {m.SET_RANGE: 1, m.STEADY_RATE: 1, m.SET_INTERVAL: 1, m.ARM: 3}


class Device:
    """``board`` switches ranges and measures supply and temperature; ``lines`` are the ways to a host."""

    def __init__(self, board, converter, lines, unique_id, name):
        self.board, self.converter, self.lines = board, converter, lines
        self.capture = c.Capture(len(converter.ring), converter.interval_ns)
        self._id, self._name = unique_id, name
        self._head = bytearray(m.HEAD_LONGEST)
        self._frame = bytearray(frame_longest(31 + 2 * len(self.capture.samples)))
        self._frame_length = 0
        self._answers = array("H", [0] * (3 * ANSWERS))
        self._answer_first = self._answer_count = 0
        self._window = array("i", [0] * 4)
        self.range = 0
        self.armed = True
        self._steady_ms = 1000 // STEADY_HZ_START
        self._sequence = self._kept = self.refused = 0
        self._switched = self._noted = self._pop_told = False
        self._held_range = self._held_flags = self._held_ms = 0
        self._now_ms = self._said_steady_ms = self._housekeeping_ms = self._wraps = 0
        self._battery_due = False
        self.ranger = None
        self._ranging = self._range_spoilt = self._distance_due = False
        self._ranged_ms = self._look_ms = 0

    def start(self, now_ms, now_us):
        """Range 0, armed, factor 1, steady light at 10 Hz, an IDENTITY waiting to be sent."""
        self._now_ms = self._said_steady_ms = self._housekeeping_ms = now_ms
        self.board.set_range(0)
        self.board.measure(self.converter)
        self._battery_due = self.board.has_battery
        self.capture.arm()
        self._answer(m.IDENTIFY, 0, m.DONE)
        self.converter.start(now_us)

    def turn(self, now_ms, now_us):
        """One round: conversions, bytes in, bytes out."""
        if now_ms < self._now_ms:
            self._wraps = (self._wraps + 1) & 3
        self._now_ms = now_ms
        self.converter.advance(self.capture, now_us)
        if not self._noted and self.capture.state() == c.HELD:
            self._note_held()
        if self.ranger is not None:
            self._measure_distance(now_ms)
        for line in self.lines:
            self._listen(line)
        if not self._still_sending(now_ms):
            self._next(now_ms)
            self._still_sending(now_ms)

    # ------------------------------------------------------------------------------------------------- commands

    def _listen(self, line):
        for _ in range(LISTEN_MOST):
            byte = line.receive(self._now_ms)
            if byte < 0:
                return
            result = line.receiver.take(byte)
            if result == MESSAGE:
                self._obey(line.receiver.buffer, line.receiver.length)
            elif result != NOTHING:
                self._refuse()

    def _refuse(self):
        self.refused = (self.refused + 1) & 0xFFFF

    def _answer(self, command, its_sequence, code):
        place = 3 * ((self._answer_first + self._answer_count) % ANSWERS)
        self._answers[place] = command
        self._answers[place + 1] = its_sequence
        self._answers[place + 2] = code
        self._answer_count += 1

    def _obey(self, message, length):
        command = message[1]
        # Our own messages, echoed by the line, must not make us answer ourselves.
        if command < m.FROM_HOST or length < HEADER + _BODY_LEAST.get(command, 0) or self._answer_count == ANSWERS:
            self._refuse()
            return
        code = m.DONE
        if command == m.SET_RANGE:
            code = self._set_range(message[4])
        elif command == m.ARM:
            code = self._arm(message[4], message[5] | message[6] << 8)
        elif command == m.STEADY_RATE:
            code = self._set_steady(message[4])
        elif command == m.SET_INTERVAL:
            code = self._set_interval(message[4])
        elif command != m.IDENTIFY and command != m.GET_STATUS:
            code = m.UNKNOWN_COMMAND
        self._answer(command, message[2] | message[3] << 8, code)

    def _set_range(self, wanted):
        if wanted >= self.board.ranges:
            return m.NOT_POSSIBLE
        if wanted == self.range:
            return m.DONE
        state = self.capture.state()
        self.range = wanted
        self.board.set_range(wanted)
        self.capture.window(self._window)  # light of the old range
        self._said_steady_ms = self._now_ms
        if state == c.HELD or state == c.OFF:
            self.capture.step_is_no_pop()
            self._switched = True
        else:
            self.capture.arm()
        return m.DONE

    def _arm(self, on, threshold):
        if on > 1 or (threshold and threshold < THRESHOLD_LEAST):
            return m.NOT_POSSIBLE
        if threshold:
            self.capture.set_threshold(threshold >> 4)
        if not on:
            self.capture.disarm()
        elif self.capture.state() == c.OFF:
            self.capture.arm()
        self.armed = on == 1
        return m.DONE

    def _set_interval(self, factor):
        if factor not in (1, 2, 4, 8):
            return m.NOT_POSSIBLE
        state = self.capture.state()
        if state == c.HOLDING:
            return m.BUSY
        self.capture.set_factor(factor)
        if state != c.OFF and state != c.HELD:
            self.capture.arm()
        return m.DONE

    def _set_steady(self, hz):
        if hz > STEADY_HZ_MOST:
            return m.NOT_POSSIBLE
        self._steady_ms = 1000 // hz if hz else 0
        self._said_steady_ms = self._now_ms
        self.capture.window(self._window)
        return m.DONE

    # ------------------------------------------------------------------------------------------------- messages

    def _still_sending(self, now_ms):
        busy = False
        for line in self.lines:
            if line.pump(self._frame, self._frame_length, now_ms):
                busy = True
        return busy

    def _send(self, head_length, samples=b"", samples_length=0):
        self._sequence = (self._sequence + 1) & 0xFFFF
        self._frame_length = encode(self._head, head_length, samples, samples_length, self._frame)
        for line in self.lines:
            line.begin(self._now_ms)

    def _note_held(self):
        """What must be known of a capture that has just been completed, before a command changes it."""
        held = self.capture
        self._noted = True
        self._held_range = self.range
        self._held_flags = m.CLIPPED if held.clipped() else 0
        self._held_ms = self._uptime(time.ticks_add(self._now_ms, -held.window_ms * held.held_factor()))

    def _next(self, now_ms):
        if self._noted:
            if self._pop_told:
                self._send_block()
            else:
                self._tell_pop()
        elif self._steady_ms and time.ticks_diff(now_ms, self._said_steady_ms) >= self._steady_ms:
            self._said_steady_ms = now_ms
            self._send_steady(now_ms)
        elif self._answer_count:
            self._send_answer(now_ms)
        elif self._distance_due:
            self._send_distance()
        elif self._battery_due:
            self._battery_due = False
            self._send(m.put_battery(self._head, self._sequence, self.board.percent, self.board.millivolts))
        elif time.ticks_diff(now_ms, self._housekeeping_ms) >= HOUSEKEEPING_MS and self.capture.state() <= c.WATCH:
            self._keep_house(now_ms)

    def _measure_distance(self, now_ms):
        """Begin, look at and take one measurement after another; none is begun, and none believed, while a flash burns."""
        quiet = self.capture.state() <= c.WATCH
        finder = self.ranger
        if self._ranging and not quiet:
            # The flash's infrared is in it.
            self._range_spoilt = True
        if not quiet or self._distance_due:
            return
        try:
            if not self._ranging:
                if time.ticks_diff(now_ms, self._ranged_ms) >= RANGER_MS:
                    self._ranged_ms = now_ms
                    self._look_ms = time.ticks_add(now_ms, RANGER_FIRST_LOOK_MS)
                    self._range_spoilt = False
                    finder.start()
                    self._ranging = True
            elif time.ticks_diff(now_ms, self._look_ms) >= 0:
                self._look_ms = time.ticks_add(now_ms, RANGER_LOOK_MS)
                if finder.ready():
                    finder.read()
                    self._ranging = False
                    self._distance_due = not self._range_spoilt
                elif time.ticks_diff(now_ms, self._ranged_ms) > RANGER_LATE_MS:
                    self._no_distance()
        except OSError:
            self._no_distance()

    def _no_distance(self):
        """The finder does not answer: that is told, and it is asked anew."""
        finder = self.ranger
        # One by one: four at once would be a tuple on the heap.
        finder.status = m.SILENT
        finder.distance_mm = finder.uncertainty_mm = m.NOT_KNOWN
        finder.signal = 0
        self._ranging = False
        self._distance_due = True

    def _send_distance(self):
        finder = self.ranger
        self._distance_due = False
        self._send(
            m.put_distance(
                self._head, self._sequence, finder.distance_mm, finder.uncertainty_mm, finder.status, finder.signal
            )
        )  # fmt: skip

    def _keep_house(self, now_ms):
        """Measure supply and temperature; for 4 ms no pop is seen."""
        self._housekeeping_ms = now_ms
        self.board.measure(self.converter)
        if self.capture.state() != c.OFF:
            self.capture.arm()
        self._battery_due = self.board.has_battery

    def _uptime(self, ticks_ms):
        """Time of ticks that lie not after now: they wrap at 30 bits, the wire's time at 32.

        Numbers above 30 bits are objects, but only after twelve days.
        """
        wraps = self._wraps if ticks_ms <= self._now_ms else self._wraps - 1
        return (wraps & 3) << 30 | ticks_ms

    def _tell_pop(self):
        self._kept = (self._kept + 1) & 0xFFFF
        self._pop_told = True
        self._send(
            m.put_pop(
                self._head, self._sequence, self._held_ms, self._kept, self._held_range, self._held_flags,
                self.capture.lost(),
            )
        )  # fmt: skip

    def _send_block(self):
        held = self.capture
        fine_ns = held.interval_ns * held.held_factor()
        flags = self._held_flags | (m.TRUNCATED if held.truncated() else 0)
        length = m.put_block(
            self._head, self._sequence, self._held_ms, self._kept, self._held_range, flags, c.PRETRIGGER,
            m.NOT_KNOWN, held.fine, fine_ns, held.coarse, fine_ns * c.COARSE_TIMES,
        )  # fmt: skip
        self._send(length, held.samples, 2 * len(held.samples))
        # The frame is a copy: the next pop may come while this one is on its way.
        self._noted = self._pop_told = False
        held.release(self.armed)

    def _send_steady(self, now_ms):
        w = self._window
        if not self.capture.window(w):
            return
        flags = (m.CLIPPED if w[3] >= c.CLIP else 0) | (m.SWITCHED if self._switched else 0)
        self._switched = False
        self._send(
            m.put_steady(
                self._head, self._sequence, self._uptime(now_ms), self.range, flags, w[0], w[1], w[2], w[3], m.NOT_KNOWN
            )
        )  # fmt: skip

    def _send_answer(self, now_ms):
        place = 3 * self._answer_first
        command, its_sequence, code = self._answers[place], self._answers[place + 1], self._answers[place + 2]
        self._answer_first = (self._answer_first + 1) % ANSWERS
        self._answer_count -= 1
        if command == m.IDENTIFY:
            length = self._put_identity()
        elif command == m.GET_STATUS:
            length = self._put_status(now_ms)
        else:
            length = m.put_reply(self._head, self._sequence, command, its_sequence, code)
        self._send(length)

    def _put_identity(self):
        can = m.CAN_FLASH | m.CAN_STEADY | m.CAN_SWITCH_INTERVAL
        if self.board.has_battery:
            can |= m.CAN_BATTERY
        if self.ranger is not None:
            can |= m.CAN_RANGE_FINDER
        return m.put_identity(
            self._head, self._sequence, FIRMWARE, self._id, can, c.BITS, len(self.capture.samples),
            self.capture.interval_ns, self.board.ranges, self._name,
        )  # fmt: skip

    def _put_status(self, now_ms):
        held = self.capture
        lost = held.lost()
        flags = (m.ARMED if self.armed else 0) | (m.SATURATED if held.highest() >= c.CLIP else 0)
        return m.put_status(
            self._head, self._sequence, self._uptime(now_ms), self.range, flags, held.baseline() << 1,
            min(held.threshold() << 4, 0xFFFF), c.PRETRIGGER, held.interval_ns * held.factor(),
            (self._kept + lost) & 0xFFFF, lost, self.refused,
            self.board.temperature, self.board.supply_mv, self.converter.overruns,
        )  # fmt: skip
