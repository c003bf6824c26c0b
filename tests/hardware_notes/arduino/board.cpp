// Runs one sketch: board ADDRESS [REGISTER=HEX ...] for a light chip, board pop PEAK TAU_US for a converter that sees one flash.
#include "Arduino.h"
#include "Wire.h"
#include <cmath>
#include <cstdlib>
#include <cstring>
Line Serial;
Bus Wire;
void setup();
void loop();
static double now_us, peak, tau_us;
int analogRead(int) {
    now_us += 104;
    double const since = now_us - 1020000;
    double const light = since < 0 ? 0 : peak * exp(-since / tau_us);
    return (int)std::min(1023.0, 20 + light);
}
unsigned long micros() { return (unsigned long)now_us; }
void delay(unsigned long ms) { now_us += 1000.0 * ms; }
int main(int argc, char **argv) {
    if (argc > 3 && strcmp(argv[1], "pop") == 0) {
        peak = atof(argv[2]);
        tau_us = atof(argv[3]);
    } else {
        Wire.address = (int)strtol(argv[1], nullptr, 16);
        for (int i = 2; i < argc; i++) {
            int where, a, b;
            if (sscanf(argv[i], "%x=%2x%2x", &where, &a, &b) == 3) Wire.registers[where] = {a, b};
        }
    }
    setup();
    loop();
    for (auto const &message : Wire.log) {
        printf("# sent");
        for (int value : message) printf(" %02x", value);
        printf("\n");
    }
}
