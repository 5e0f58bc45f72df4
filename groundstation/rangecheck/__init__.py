"""The range check before each run: steps, verdict, history. Pure."""
