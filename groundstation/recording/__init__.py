"""Sessions on disk: written as bytes arrive, read back as the same inbound events."""
