"""Calibrating a sensor and accepting a newly built one: plain procedures over measurements, without input or output.

``procedure``    walks through tasks ("cap on", "dome at 45 degrees") and collects measurements
``evidence``     what was collected, as raw values, whatever calibration was in force
``scale``        evidence -> ``Calibration`` with its uncertainty, or a refusal in words
``steps``        what walks are made of
``scale_walk``   the walk of ``meterlink calibrate``; ``calibrate``: those to a zero and to an angular response
``claim``        over which light a calibration may claim a tenth of a stop
``acceptance``   the tasks of ``meterlink verify``; ``judge``: its ``findings``; ``faults``: causes named
``certificate``  the record of an acceptance, as text and as a page
``chosen``       which calibration is used, and when it is old or belongs to something else
``spectra``      CSV of responsivities and lamps -> spectral error
"""

from __future__ import annotations
