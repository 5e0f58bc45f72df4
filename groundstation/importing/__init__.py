"""Logs of others turned into sessions of our own: read, understood, encoded as our frames."""
