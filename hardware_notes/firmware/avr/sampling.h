/* The sampling interrupt and what it works on. */
#ifndef METERLINK_SAMPLING_H
#define METERLINK_SAMPLING_H

#include "capture.h"

extern struct ml_sensor sensor;

#endif
