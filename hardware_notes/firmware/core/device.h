/* The sensor as a whole, without a register: obeys commands, decides what is sent next.
 *
 * The main loop of a chip hands it received bytes, calls ml_device_poll() often and sends what ml_device_transmit()
 * gives; its sampling interrupt calls ml_sensor_take() on the same struct ml_sensor.  No heap, no waiting. */
#ifndef METERLINK_DEVICE_H
#define METERLINK_DEVICE_H

#include <stdbool.h>
#include <stdint.h>

#include "capture.h"
#include "message.h"
#include "receiver.h"
#include "writer.h"

#define ML_RANGES 2
#define ML_STEADY_HZ_START 10
#define ML_STEADY_HZ_MOST 50
#define ML_THRESHOLD_LEAST 512 /* raw x 65536: two codes of 256; less would be noise */
#define ML_ANSWERS 8           /* commands that may wait for their answer while a block is sent */
#define ML_COMMAND_LONGEST 52  /* decoded bytes with CRC; a SET_IDENTITY with a full name has 49 */
#define ML_FIRMWARE_VERSION {0, 1, 0}

/* What the chip must do for us.  All are called from the main loop. */
struct ml_hardware {
    void (*set_range)(uint8_t range); /* 0 ... ML_RANGES-1, 0 the least sensitive; at once */
    void (*lock)(void);               /* hold the sampling interrupt off (a few microseconds) */
    void (*unlock)(void);
    /* The chip's own reference as raw value x 65536.  Called locked, comes back locked; may unlock and stop sampling
     * meanwhile.  NULL: there is none, and the three figures of it are 0. */
    uint16_t (*measure_reference)(void);
    /* Keep id and name (at most ML_NAME_LONGEST bytes) over a loss of power; may take its time.  NULL: they are fixed. */
    void (*store_identity)(uint8_t const *id, uint8_t const *name, uint8_t length);
    uint16_t reference_by_design;
    uint16_t reference_tolerance;
};

struct ml_answer {
    uint8_t command;
    uint8_t code;
    uint16_t its_sequence;
};

struct ml_device {
    struct ml_hardware const *hardware;
    struct ml_sensor *sensor;
    struct ml_identity identity;
    struct ml_receiver receiver;
    struct ml_writer writer;
    uint8_t received[ML_COMMAND_LONGEST];
    uint8_t message[ML_MESSAGE_LONGEST];
    struct ml_answer answers[ML_ANSWERS];
    uint8_t answer_first;
    uint8_t answer_count;
    uint8_t range;
    uint16_t steady_period_ms; /* 0: off */
    bool armed;
    bool switched;       /* the range was switched inside the steady window under way */
    bool held_noted;     /* the held_ numbers belong to the capture that is held */
    bool pop_told;       /* the POP of the held capture has been sent or is being sent */
    bool block_sending;
    uint8_t held_range;  /* of the held capture */
    uint8_t held_shift;
    uint8_t held_flags;
    uint32_t held_ms;
    uint32_t now_ms;     /* of the last poll */
    uint32_t steady_ms;  /* when the last window was sent */
    uint32_t window_ms;  /* when the window under way began */
    uint16_t sequence;
    uint16_t kept;       /* pops captured */
    uint16_t refused;    /* frames from the host that were dropped */
    uint16_t reference;  /* as last measured */
};

/* Set up everything as after a start: range 0, armed, factor 1, steady light at 10 Hz, an IDENTITY waiting to be sent.
 * `unique_id` has ML_UNIQUE_ID_LENGTH bytes; `name` has name_length bytes of UTF-8, at most ML_NAME_LONGEST (more are
 * cut).  Both are copied.  `hardware` and `sensor` must outlive the device. */
void ml_device_init(struct ml_device *d, struct ml_hardware const *hardware, struct ml_sensor *sensor,
                    uint8_t const *unique_id, uint8_t const *name, uint8_t name_length);

/* Take one byte from the host. */
void ml_device_receive(struct ml_device *d, uint8_t byte);

/* Look after the capture and choose the next message when the line is free.  `now_ms` counts from start and wraps. */
void ml_device_poll(struct ml_device *d, uint32_t now_ms);

/* The next byte for the host in *byte; false when there is nothing to send. */
bool ml_device_transmit(struct ml_device *d, uint8_t *byte);

#endif
