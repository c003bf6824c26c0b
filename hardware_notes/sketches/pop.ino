// Pops from any board with a converter of 10 bits, C++: one line a flash.  Never run on hardware.
const int PIN = A0, DARK = 20, RISE = 24;
const float FULL_LX = 200000.0, LX = FULL_LX / 1023;  // light at code 1023

void setup() { Serial.begin(115200); }

void loop() {
  int rest = analogRead(PIN), code, top = 0;
  if (rest - DARK > RISE) return;  // lit already: wait
  unsigned long told = micros();
  while ((code = analogRead(PIN)) < DARK + RISE) {
    if (micros() - told < 400000) continue;
    told = micros();  // that it is there, and the room's light
    rest = code;
    Serial.print("pops\n"); Serial.print(max(rest - DARK, 0) * LX, 1); Serial.println(" lx");
  }
  static int codes[96];
  unsigned long begun = micros(), sum = 0;
  int n = 0, high = 0;
  while (n < 96) {
    codes[n] = max(code - rest, 0);
    sum += codes[n];
    top = max(top, codes[n++]);
    code = analogRead(PIN);
  }
  float step = (micros() - begun) / 96e6;
  for (n = 0; n < 96; n++) high += codes[n] > top / 10;
  Serial.print("pop "); Serial.print(sum * step * LX, 2); Serial.print(" lxs t01 "); Serial.print(high * step, 6);
  Serial.print(" peak "); Serial.print(top * LX, 0); Serial.println(top + rest > 1015 ? " clipped" : "");
}
