"""Recordings turned into files for others: tables of every channel, a track of the fixes."""
