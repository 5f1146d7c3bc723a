"""Seatwright: place an orchestra's exported stems on one stage, offline.

The job in reading order is `seatwright.render`; the words are those of `seatwright.stage`.
"""

__version__ = "0.1.0"
