// A two-wire bus of our own behind the names that the sketches use: one light chip, registers as in its data sheet (from memory).
#pragma once
#include <map>
#include <vector>

struct Bus {
    int address = 0, wanted = 0;
    std::vector<int> sent, waiting;
    std::map<int, std::vector<int>> registers;  // what a read of a register gives
    std::vector<std::vector<int>> log;
    void begin() {}
    void beginTransmission(int to) { wanted = to; sent.clear(); }
    void write(int value) { sent.push_back(value & 0xFF); }
    int endTransmission(bool stop = true) { (void)stop; log.push_back(sent); return wanted == address ? 0 : 2; }
    int requestFrom(int from, int count) {
        waiting.clear();
        if (from != address) return 0;
        int const last = sent.empty() ? -1 : sent.back();
        auto const found = registers.count(last) ? registers.find(last) : registers.begin();
        if (found != registers.end()) waiting = found->second;
        return (int)waiting.size() == count ? count : 0;
    }
    int read() { int const first = waiting.front(); waiting.erase(waiting.begin()); return first; }
};
extern Bus Wire;
