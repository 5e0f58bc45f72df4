"""Logs of other loggers, turned into sessions of our own."""
