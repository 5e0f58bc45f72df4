"""What the driver hears: nobody watches a screen during a pass."""
