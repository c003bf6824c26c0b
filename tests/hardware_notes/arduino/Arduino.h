// The few names of common boards that the sketches use, on this machine.
#pragma once
#include <algorithm>
#include <cstdio>
using std::max;
using std::min;
const int A0 = 14;
struct Line {
    void begin(long) {}
    void print(char const *text) { printf("%s", text); }
    void print(double value, int digits) { printf("%.*f", digits, value); }
    void println(char const *text) { printf("%s\n", text); }
    void println(double value, int digits) { printf("%.*f\n", digits, value); }
};
extern Line Serial;
int analogRead(int pin);
unsigned long micros();
void delay(unsigned long ms);
