// Light chips of the BH1750 family on I2C, C++: one line of lux a reading.  Never run on hardware.
#include <Wire.h>

const int ADDRESS = 0x23;  // 0x5C with ADDR high
const int TIME = 31;       // the shortest, and the widest range; the chip's own is 69

void command(int value) {
  Wire.beginTransmission(ADDRESS);
  Wire.write(value);
  Wire.endTransmission();
}

void setup() {
  Serial.begin(115200);
  Wire.begin();
  command(0x01); command(0x40 | TIME >> 5); command(0x60 | (TIME & 31)); command(0x10);
}

void loop() {
  delay(90);
  if (Wire.requestFrom(ADDRESS, 2) != 2) { Serial.println("# no light chip answers: check the four wires"); return; }
  unsigned long count = (unsigned long)Wire.read() << 8;
  count |= Wire.read();
  if (count >= 65535) { Serial.println("OL"); return; }
  Serial.print(count / 1.2 * 69 / TIME, 1); Serial.println(" lx # bh1750");
}
