// Light chips of the OPT3001 family on I2C, C++: one line of lux a reading.  Never run on hardware.
#include <Wire.h>

const int ADDRESS = 0x44;  // to 0x47, by its ADDR pin

long readRegister(int which) {
  Wire.beginTransmission(ADDRESS);
  Wire.write(which);
  Wire.endTransmission(false);
  if (Wire.requestFrom(ADDRESS, 2) != 2) return -1;
  long high = Wire.read();
  return high << 8 | Wire.read();
}

void setup() {
  Serial.begin(115200);
  Wire.begin();
  Wire.beginTransmission(ADDRESS);
  Wire.write(0x01); Wire.write(0xC6); Wire.write(0x10);  // range by itself, 100 ms, without end
  Wire.endTransmission();
}

void loop() {
  delay(110);
  long state = readRegister(0x01), result = readRegister(0x00);
  if (state < 0 || result < 0) { Serial.println("# no light chip answers: check the four wires"); return; }
  if (state & 0x0100) { Serial.println("OL"); return; }
  Serial.print(0.01 * (1L << (result >> 12)) * (result & 0x0FFF), 1); Serial.println(" lx # opt3001");
}
