"""Terminal screens: they read a desk and draw; nothing flows back but named requests."""
