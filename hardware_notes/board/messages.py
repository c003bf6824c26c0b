"""Messages of wire format v1 that the board sends (shared/wire/wire-v1.md section 2), each written into a buffer.

Every ``put_`` writes header and body from the beginning of ``out`` and returns the length.
"""

from struct import pack_into

from micropython import const

IDENTITY, STEADY, POP, BLOCK, STATUS, DISTANCE, BATTERY, REPLY = 1, 2, 3, 4, 5, 7, 8, 15
FROM_HOST = const(0x80)
IDENTIFY, SET_RANGE, ARM, STEADY_RATE, SET_INTERVAL, GET_STATUS = 0x81, 0x82, 0x83, 0x84, 0x85, 0x86
DONE, UNKNOWN_COMMAND, NOT_POSSIBLE, BUSY = 0, 1, 2, 3

CAN_FLASH, CAN_STEADY, CAN_RANGE_FINDER, CAN_BATTERY, CAN_SWITCH_INTERVAL = 1, 2, 8, 16, 32
CLIPPED = const(1)
SWITCHED = const(2)
"""Of STEADY: the range was switched inside the window."""
TRUNCATED = const(2)
"""Of BLOCK: light had not fallen back when the capture was full."""
SILENT = const(5)
"""Of DISTANCE: the finder does not answer."""
ARMED = const(1)
SATURATED = const(2)
NOT_KNOWN = const(0xFFFF)
NAME_LONGEST = const(32)
HEAD_LONGEST = const(72)
"""An IDENTITY with a full name; everything but a block's samples is shorter."""


def put_identity(out, sequence, firmware, unique_id, capabilities, adc_bits, ring, interval_ns, ranges, name):
    """IDENTITY; ``firmware`` is three numbers, ``unique_id`` 8 bytes, ``name`` UTF-8 of at most 32 bytes."""
    pack_into("<BBHBBBB", out, 0, 1, IDENTITY, sequence, 0, firmware[0], firmware[1], firmware[2])
    for i in range(8):
        out[8 + i] = unique_id[i]
    pack_into("<HBHIBB", out, 16, capabilities, adc_bits, ring, interval_ns, ranges, len(name))
    for i in range(len(name)):
        out[27 + i] = name[i]
    return 27 + len(name)


def put_steady(out, sequence, time_ms, sensitivity, flags, total, count, low, high, distance_mm):
    """STEADY; ``total`` is the sum of ``count`` codes of which ``low`` and ``high`` are the ends."""
    pack_into(
        "<BBHIBBIHHHH", out, 0, 1, STEADY, sequence, time_ms, sensitivity, flags, total, count, low, high, distance_mm
    )
    return 22


def put_pop(out, sequence, time_ms, pop, sensitivity, flags, lost):
    """POP."""
    pack_into("<BBHIHBBH", out, 0, 1, POP, sequence, time_ms, pop, sensitivity, flags, lost)
    return 14


def put_block(out, sequence, time_ms, pop, sensitivity, flags, pretrigger, distance_mm, fine, fine_ns, coarse, coarse_ns):
    """BLOCK up to its samples: two segments of 16-bit samples, ``fine`` and ``coarse`` many."""
    pack_into(
        "<BBHIHBBBBHHB", out, 0, 1, BLOCK, sequence, time_ms, pop, sensitivity, flags, 2, 16, pretrigger, distance_mm, 2
    )
    pack_into("<HIHI", out, 19, fine, fine_ns, coarse, coarse_ns)
    return 31


def put_status(
    out, sequence, time_ms, sensitivity, flags, baseline, threshold, pretrigger, interval_ns, seen, lost, refused,
    temperature, supply_mv, overruns,
):  # fmt: skip
    """STATUS; ``baseline`` and ``threshold`` are raw values x 65536, ``temperature`` in 0.1 degrees C.

    The converter has a reference of its own: the three figures of another one are 0.
    """
    pack_into(
        "<BBHIBBHHHIHHH", out, 0, 1, STATUS, sequence, time_ms, sensitivity, flags, baseline, threshold, pretrigger,
        interval_ns, seen, lost, refused,
    )  # fmt: skip
    pack_into("<HHHhHH", out, 26, 0, 0, 0, temperature, supply_mv, overruns)
    return 38


def put_distance(out, sequence, distance_mm, uncertainty_mm, status, signal):
    """DISTANCE; ``signal`` in 1000 counts a second."""
    pack_into("<BBHHHBH", out, 0, 1, DISTANCE, sequence, distance_mm, uncertainty_mm, status, signal)
    return 11


def put_battery(out, sequence, percent, millivolts):
    """BATTERY; 255 % and 0xFFFF mV are not known."""
    pack_into("<BBHBH", out, 0, 1, BATTERY, sequence, percent, millivolts)
    return 7


def put_reply(out, sequence, command, its_sequence, code):
    """REPLY."""
    pack_into("<BBHBHB", out, 0, 1, REPLY, sequence, command, its_sequence, code)
    return 8
