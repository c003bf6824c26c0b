/* What the core makes of recorded conversions: replay CODES SHIFT FIRST LAST
 *
 * CODES is a file of little-endian u16, one conversion each, as the bench records them from the start of the chip.  The
 * core is armed at conversion 0 and, if SHIFT is not 0, armed anew at factor 1 << SHIFT at every conversion from FIRST
 * to LAST in turn (the moment at which a chip obeyed is known only roughly).  For each a line `ring INDEX HEX` tells
 * the first capture, oldest sample first; for SHIFT 0 a line `sums CODE CODE ...` tells which conversions went into the
 * steady sums. */
#include <stdio.h>
#include <stdlib.h>

#include "capture.h"

static struct ml_sensor s;
static uint16_t codes[8000000];

/* True when conversion `code` was added to the sums. */
static bool take(uint16_t code) {
    uint8_t const before = s.window.count_low;
    ml_sensor_take(&s, (uint16_t)(code << 6));
    return s.window.count_low != before;
}

static void print_ring(size_t index) {
    printf("ring %zu ", index);
    for (unsigned i = 0; i < ML_RING; i++) printf("%02x", s.ring[(ml_sensor_oldest(&s) + i) & (ML_RING - 1)]);
    putchar('\n');
}

static void replay(size_t count, uint8_t shift, size_t arm_at) {
    ml_sensor_init(&s);
    ml_sensor_arm(&s);
    for (size_t i = 0; i < count && s.state != ML_HELD; i++) {
        if (shift != 0 && i == arm_at) {
            ml_sensor_set_factor(&s, shift);
            ml_sensor_arm(&s);
        }
        (void)take(codes[i]);
    }
    if (s.state == ML_HELD) print_ring(arm_at);
}

int main(int argc, char **argv) {
    FILE *const file = argc == 5 ? fopen(argv[1], "rb") : NULL;
    if (file == NULL) return 2;
    size_t const count = fread(codes, sizeof codes[0], sizeof codes / sizeof codes[0], file);
    fclose(file);
    uint8_t const shift = (uint8_t)atoi(argv[2]);
    size_t const last = strtoul(argv[4], NULL, 10);
    for (size_t i = strtoul(argv[3], NULL, 10); i <= last; i++) replay(count, shift, i);
    if (shift != 0) return 0;
    ml_sensor_init(&s);
    ml_sensor_arm(&s);
    printf("sums");
    for (size_t i = 0; i < count; i++) {
        if (take(codes[i])) printf(" %u", (unsigned)codes[i]);
    }
    putchar('\n');
    return 0;
}
