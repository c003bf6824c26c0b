"""Where bytes come from and go to: serial port, Bluetooth LE, TCP, a recording."""
