// Light chips of the VEML family on I2C, C++: one line of lux a reading.  Never run on hardware.
#include <Wire.h>

const int ADDRESS = 0x10;
const float LX_PER_COUNT = 1.8432;  // gain 1/8 and 25 ms

void setup() {
  Serial.begin(115200);
  Wire.begin();
  Wire.beginTransmission(ADDRESS);
  Wire.write(0x00); Wire.write(0x00); Wire.write(0x13);
  Wire.endTransmission();
}

void loop() {
  delay(60);
  Wire.beginTransmission(ADDRESS);
  Wire.write(0x04);
  Wire.endTransmission(false);
  if (Wire.requestFrom(ADDRESS, 2) != 2) { Serial.println("# no light chip answers: check the four wires"); return; }
  unsigned long count = Wire.read();
  count |= (unsigned long)Wire.read() << 8;
  if (count >= 65535) { Serial.println("OL"); return; }
  Serial.print(count * LX_PER_COUNT, 1); Serial.println(" lx # veml");
}
