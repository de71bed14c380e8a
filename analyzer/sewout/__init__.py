"""Measured sew-outs: a test piece to sew, records of what was measured, and what they teach.

The result is a :class:`analyzer.job.Calibration`, which whoever calls ``check`` passes in with the job.
"""
