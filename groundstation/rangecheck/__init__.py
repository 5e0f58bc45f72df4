"""The range check: sensors at rest, failsafe proof, walk, verdict.

Pure: bytes and time in, a frozen view and a frozen record out. Advice only: the transmitter's own
alarms and the failsafe come first.
"""
