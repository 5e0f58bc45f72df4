"""Where bytes come from: ports, networks, the simulated car."""
