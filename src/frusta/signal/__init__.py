"""From a recording to figures: sweep, transfer, clock, gate, smoothing, harmonics, decay, modes.

Arrays and small frozen dataclasses in and out, SI units; knows nothing of files, tables or people.
Imports numpy and scipy only.
"""
