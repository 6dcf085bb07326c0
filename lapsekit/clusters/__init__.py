"""Frames measured on many machines, by Dask; judging and days stay on the season's own.

A worker is told a job: the settings that shape a number, outlines, reference frames, the model and
what strokes taught; no password but the one that frames are read with, and not where the bench
stands. It reads frames where they lie, checks that they are the ones meant, and sends back rows and
covers. It writes nothing, so that a worker may be lost, and a task be done twice, without a trace.
"""
