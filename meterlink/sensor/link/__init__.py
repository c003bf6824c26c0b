"""Where bytes come from and go to: serial port, Bluetooth LE, TCP, a recording, a simulated sensor.

``base`` is the contract, ``registry`` turns a URL into a link, ``finding`` looks for sensors, ``reconnect`` keeps
one alive.  Import the module that you need: this one stays empty so that a one-shot command pays for nothing.
"""
