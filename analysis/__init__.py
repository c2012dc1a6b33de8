"""The computation: sound in as arrays, results out as frozen dataclasses.

Nothing here opens a file, a clock, a device or a socket, and nothing prints.
A take is followed along one line::

    hearing   samples -> spectra -> spindle track -> passes
    cutting   bit, wood, trim -> chip geometry, band, limits
    coaching  a heard pass + the cut -> chip load, verdict, advice
    dial      a spindle track -> what the router's dial numbers mean
    pictures  results -> figures
"""
